"""The tags of a stretch of XML, found and told apart all at once.

Kinds of tags are learnt as they come: the first tag of a kind not known yet is taken as its
pattern, and all tags like it are marked. Files have a dozen kinds or two, however many points they
have. As points mostly have the same tags in the same order, the order of the first few is tried on
all of them at once before.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.parsers import expat

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import BoolArray, IntArray
from wherewatt.ingest.text_columns import Bytes
from wherewatt.ingest.xml_stream import new_parser

Kinds = npt.NDArray[np.int8]
Levels = npt.NDArray[np.int32]

PADDING = bytes(72)  # after a stretch, so that a name can be looked at beyond its end

_MOST_KINDS = 120
_DEEPEST = 40  # levels; each costs a look at all tags
_WORD = 8
# A tag up to the mark after its name. A longer name than this is for the slow reader.
_TAG = re.compile(rb"(/?)([A-Za-z_:][A-Za-z0-9_:.-]{0,61})([>/ \t\r\n])")
_LESS, _GREATER, _SLASH, _BANG, _QUERY = b"<>/!?"
_SHARED_BITS = 0xFF ^ _LESS ^ _GREATER  # the two differ in a single bit
_BLOCK_BYTES = 1 << 16
_SAMPLE = 256  # tags that surely hold a point or two


class UnusualError(Exception):
    """The fast reader cannot vouch for this file; the slow one is to read it."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of tag, by what stands between ``<`` and the mark after the name.

    Parameters
    ----------
    is_end : whether it is an end tag.
    name : its name.
    mark : the byte after that: ``>``, ``/`` or white space.
    words : all of it in words of eight bytes: pairs of a mask and what the masked word must be.
    """

    is_end: bool
    name: bytes
    mark: bytes
    words: tuple[tuple[np.uint64, np.uint64], ...]

    @property
    def is_open(self) -> bool:
        """Whether the tag goes on after its name, with attributes or white space."""
        return self.mark not in (b">", b"/")


@dataclass(frozen=True, slots=True, eq=False)
class Tags:
    """The tags of a stretch, in its order; all arrays have shape (n,).

    Parameters
    ----------
    opens, closes : where the ``<`` and the ``>`` stand.
    kinds : numbers of the known kinds; −1 for comments, CDATA and instructions.
    is_end : whether it is an end tag.
    is_empty : whether it is a start tag that ends with ``/>``.
    """

    opens: IntArray
    closes: IntArray
    kinds: Kinds
    is_end: BoolArray
    is_empty: BoolArray

    def __len__(self) -> int:
        return len(self.opens)

    def of(self, kinds: list[int]) -> BoolArray:
        """(n,) which tags are of some kinds."""
        which = np.zeros(len(self), dtype=bool)
        for kind in kinds:
            which |= self.kinds == kind
        return which

    def at(self, which: BoolArray) -> Tags:
        """Some of the tags."""
        return Tags(
            self.opens[which],
            self.closes[which],
            self.kinds[which],
            self.is_end[which],
            self.is_empty[which],
        )


def find_tags(data: bytes, known: list[Kind]) -> Tags:
    """Find the tags of a stretch.

    Parameters
    ----------
    data : the stretch, followed by `PADDING`.
    known : the kinds of tags met so far; new ones are added.

    Raises
    ------
    UnusualError
        If ``<`` and ``>`` do not alternate (one of them stands in a text, a comment or an
        attribute), or a tag is unusual.
    """
    codes = np.frombuffer(data, dtype=np.uint8)
    both = _find_marks(codes)
    opens, closes = both[0::2].copy(), both[1::2].copy()
    if len(both) % 2 or (codes[opens] != _LESS).any() or (codes[closes] != _GREATER).any():
        raise UnusualError
    first = codes[1:][opens]
    kinds = _kinds_of(data, opens, (first != _BANG) & (first != _QUERY), known)
    is_empty = codes[closes - 1] == _SLASH
    for number, kind in enumerate(known):
        if kind.mark == b"/":
            which = kinds == number
            if (closes[which] - opens[which] != len(kind.name) + 2).any():
                raise UnusualError  # a slash within a tag
    return Tags(opens, closes, kinds, first == _SLASH, is_empty)


def _find_marks(codes: Bytes) -> IntArray:
    """Where the ``<`` and ``>`` stand; found block by block, so that no large array is made."""
    found = []
    for start in range(0, len(codes), _BLOCK_BYTES):
        shared = codes[start : start + _BLOCK_BYTES] & _SHARED_BITS
        found.append(np.flatnonzero(shared == _LESS & _SHARED_BITS) + start)
    return np.concatenate(found)


def _kinds_of(data: bytes, opens: IntArray, named: BoolArray, known: list[Kind]) -> Kinds:
    """(n,) numbers of the tags' kinds, −1 where a tag has no name; new kinds become known."""
    kinds = np.full(len(opens), -1, dtype=np.int8)
    _set_kinds(data, opens, np.flatnonzero(named[:_SAMPLE]), known, kinds)
    again = np.flatnonzero(kinds[1:_SAMPLE] == kinds[0])
    if len(again):
        kinds = _kinds_in_turn(data, opens, kinds[: again[0] + 1], known)
    _set_kinds(data, opens, np.flatnonzero(named & (kinds < 0)), known, kinds)
    return kinds


def _set_kinds(
    data: bytes, opens: IntArray, left: IntArray, known: list[Kind], kinds: Kinds
) -> None:
    """Set the kinds of some tags, learning those that are not known yet."""
    number = 0
    while len(left):
        if number == len(known):
            start = int(opens[left[0]]) + 1
            known.append(_kind_of(data[start : start + len(PADDING)]))
        if number == _MOST_KINDS:
            raise UnusualError
        alike = _is_kind(data, opens[left], known[number])
        kinds[left[alike]] = number
        left = left[~alike]
        number += 1


def _kind_of(text: bytes) -> Kind:
    """Kind of the tag that a text begins with, after its ``<``."""
    match = _TAG.match(text)
    if match is None or (match[1] and match[3] != b">"):
        raise UnusualError
    pieces = (match[0][at : at + _WORD] for at in range(0, len(match[0]), _WORD))
    words = tuple(
        (np.uint64((1 << 8 * len(piece)) - 1), np.uint64(int.from_bytes(piece, "little")))
        for piece in pieces
    )
    return Kind(bool(match[1]), match[2], match[3], words)


def _is_kind(data: bytes, opens: IntArray, kind: Kind) -> BoolArray:
    """(n,) whether tags are of a kind."""
    words = _words(data)
    alike = np.ones(len(opens), dtype=bool)
    for turn, (mask, value) in enumerate(kind.words):
        alike &= (words[opens + (1 + turn * _WORD)] & mask) == value
    return alike


def _kinds_in_turn(data: bytes, opens: IntArray, cycle: Kinds, known: list[Kind]) -> Kinds:
    """(n,) kinds that take turns as in a cycle; −1 where a tag is not of the kind in turn."""
    turns = len(opens) // len(cycle) + 1
    masks, values = (
        np.array([known[number].words[0][part] for number in cycle], dtype=np.uint64)
        for part in (0, 1)
    )
    words = _words(data)[opens + 1]
    words &= np.tile(masks, turns)[: len(opens)]
    alike = words == np.tile(values, turns)[: len(opens)]
    kinds = np.where(alike, np.tile(cycle, turns)[: len(opens)], np.int8(-1))
    for number in set(cycle.tolist()):
        if len(known[number].words) > 1:
            which = np.flatnonzero(kinds == number)
            kinds[which[~_is_kind(data, opens[which], known[number])]] = -1
    return kinds


def _words(data: bytes) -> npt.NDArray[np.uint64]:
    """(n − 7,) the eight bytes that begin at each byte, the first of them the lowest."""
    return np.ndarray(len(data) - _WORD + 1, dtype="<u8", buffer=data, strides=(1,))


def check_nesting(tags: Tags, known: list[Kind]) -> Levels:
    """(n,) how deep each tag lies, 1 for the outermost; start and end tag of an element alike.

    Raises
    ------
    UnusualError
        If the tags do not nest as those of well-formed XML do.
    """
    step = 1 - 2 * tags.is_end.view(np.int8) - tags.is_empty
    depth = np.cumsum(step, dtype=np.int32)
    level = depth + (tags.is_end | tags.is_empty)
    deepest = int(level.max())
    if depth[-1] != 0 or level.min() < 1 or deepest > _DEEPEST:
        raise UnusualError
    numbers = {kind.name: number for number, kind in enumerate(known)}
    name = np.array([numbers[kind.name] for kind in known], dtype=np.int8)[tags.kinds]
    for one in range(1, deepest + 1):
        # start and end tags of one level take turns, since the depth is never negative
        paired = name[(level == one) & ~tags.is_empty]
        if (paired[0::2] != paired[1::2]).any():
            raise UnusualError
    return level


def attributes_of(texts: list[str]) -> list[dict[str, str]]:
    """Attributes of start tags.

    Raises
    ------
    UnusualError
        If one of them is not well-formed.
    """
    found: list[dict[str, str]] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        found.append(attributes)

    parser = new_parser()
    parser.StartElementHandler = start
    closed = (text if text.endswith("/>") else text[:-1] + "/>" for text in texts)
    try:
        parser.Parse(f"<all>{''.join(closed)}</all>", True)
    except expat.ExpatError:
        raise UnusualError from None
    return found[1:]
