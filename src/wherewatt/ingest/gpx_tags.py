"""The tags of a stretch of XML, found and told apart all at once.

Kinds of tags are learnt as they come: the first tag of a kind not known yet is taken as its
pattern, and all tags like it are marked. Files have a dozen kinds or two, however many points they
have. As most points have the same tags in the same order, that of the first point is tried first.
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
Levels = npt.NDArray[np.int8]

# Bytes that have to follow a stretch: a word may begin in a tag and end behind it.
BEYOND = 16

_MOST_KINDS = 120
_DEEPEST = 40  # levels; each costs a look at all tags
_WORD = 8
# A tag up to the mark after its name. A longer name than this is for the slow reader.
_TAG = re.compile(rb"(/?)([A-Za-z_:][A-Za-z0-9_:.-]{0,61})([>/ \t\r\n])")
_LESS, _GREATER, _SLASH, _BANG, _QUERY = b"<>/!?"
_SHARED_BITS = 0xFF ^ _LESS ^ _GREATER  # the two differ in a single bit
_SAMPLE = 128  # tags that surely hold a point or two
_LONGEST_TAG = 64  # up to the mark after its name


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


def find_tags(data: memoryview, size: int, known: list[Kind]) -> Tags:
    """Find the tags of a stretch.

    Parameters
    ----------
    data : the stretch, and `BEYOND` bytes more.
    size : its size [byte].
    known : the kinds of tags met so far; new ones are added.

    Raises
    ------
    UnusualError
        If ``<`` and ``>`` do not alternate (one of them stands in a text, a comment or an
        attribute), or a tag is unusual.
    """
    codes = np.frombuffer(data, dtype=np.uint8)
    both = _find_marks(codes[:size])
    if len(both) % 2 or (codes[both].view("<u2") != _LESS | _GREATER << 8).any():
        raise UnusualError
    opens, closes = both[0::2], both[1::2]
    first = codes[1:][opens]
    named = (first != _BANG) & (first != _QUERY)
    kinds = _Sorter(data, opens, known).sort(np.flatnonzero(named))
    is_empty = codes[closes - 1] == _SLASH
    for number, kind in enumerate(known):
        if kind.mark == b"/":
            which = kinds == number
            if (closes[which] - opens[which] != len(kind.name) + 2).any():
                raise UnusualError  # a slash within a tag
    return Tags(opens, closes, kinds, first == _SLASH, is_empty)


def _find_marks(codes: Bytes) -> IntArray:
    """Where the ``<`` and ``>`` stand."""
    shared = codes & _SHARED_BITS
    np.equal(shared, _LESS & _SHARED_BITS, out=shared.view(bool))
    return np.flatnonzero(shared.view(bool))


class _Sorter:
    """Tells the kinds of a stretch's tags apart.

    Parameters
    ----------
    data : the stretch, and `BEYOND` bytes more.
    opens : (n,) where its tags open.
    known : the kinds of tags met so far; new ones are added.
    """

    def __init__(self, data: memoryview, opens: IntArray, known: list[Kind]) -> None:
        # the eight bytes that begin at each byte, the first of them the lowest
        self._words: npt.NDArray[np.uint64] = np.ndarray(
            len(data) - _WORD + 1, dtype="<u8", buffer=data, strides=(1,)
        )
        self._data = data
        self._opens = opens
        self._first_words = self._words[opens + 1]
        self._known = known
        self._kinds = np.full(len(opens), -1, dtype=np.int8)

    def sort(self, named: IntArray) -> Kinds:
        """(n,) numbers of the tags' kinds, −1 where a tag has no name.

        Parameters
        ----------
        named : numbers of the tags that have one.
        """
        self._mark_or_learn(named[:_SAMPLE])
        again = np.flatnonzero(self._kinds[1:_SAMPLE] == self._kinds[0])
        if len(again):
            self._mark_in_turn(self._kinds[: again[0] + 1].tolist())
        self._mark_or_learn(named[self._kinds[named] < 0])
        return self._kinds

    def _mark_or_learn(self, left: IntArray) -> None:
        """Mark tags of all kinds, learning those that are not known yet."""
        number = 0
        while len(left):
            if number == len(self._known):
                start = int(self._opens[left[0]]) + 1
                self._known.append(_kind_of(bytes(self._data[start : start + _LONGEST_TAG])))
            if number == _MOST_KINDS:
                raise UnusualError
            self._mark(left, number)
            left = left[self._kinds[left] < 0]
            number += 1

    def _mark_in_turn(self, cycle: list[int]) -> None:
        """Mark tags that follow a first tag as they do in a cycle of kinds that begins with it."""
        mask, value = self._known[cycle[0]].words[0]
        self._mark(np.flatnonzero((self._first_words & mask) == value), cycle[0])
        begins = np.flatnonzero(self._kinds == cycle[0])
        for turn, number in enumerate(cycle[1:], start=1):
            which = begins + turn
            self._mark(which[: np.searchsorted(which, len(self._opens))], number)

    def _mark(self, which: IntArray, number: int) -> None:
        """Mark those of some tags that are of a kind."""
        (mask, value), *more = self._known[number].words
        which = which[(self._first_words[which] & mask) == value]
        for turn, (mask, value) in enumerate(more, start=1):
            # these tags go on at least to here: the word cannot end far behind the stretch
            words = self._words[self._opens[which] + (1 + turn * _WORD)]
            which = which[(words & mask) == value]
        self._kinds[which] = number


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


def check_nesting(tags: Tags, known: list[Kind]) -> Levels:
    """(n,) how deep each tag lies, 1 for the outermost; start and end tag of an element alike.

    Raises
    ------
    UnusualError
        If the tags do not nest as those of well-formed XML do.
    """
    period = _period(tags)
    first = slice(period)
    is_end, is_empty = tags.is_end[first], tags.is_empty[first]
    depth = np.cumsum(1 - 2 * is_end.view(np.int8) - is_empty, dtype=np.int32)
    deepest = int(depth.max()) + 1
    if depth[-1] != 0 or depth.min() < 0 or deepest > _DEEPEST:
        raise UnusualError
    level = depth.astype(np.int8) + (is_end | is_empty)
    numbers = {kind.name: number for number, kind in enumerate(known)}
    name = np.array([numbers[kind.name] for kind in known], dtype=np.int8)[tags.kinds[first]]
    for one in range(1, deepest + 1):
        # start and end tags of one level take turns, since the depth is never negative
        paired = name[(level == one) & ~is_empty]
        if (paired[0::2] != paired[1::2]).any():
            raise UnusualError
    return np.tile(level, len(tags) // period)


def _period(tags: Tags) -> int:
    """After how many tags all begins anew and goes on as before; all of them, if it does not."""
    again = np.flatnonzero(tags.kinds[1:_SAMPLE] == tags.kinds[0])
    period = int(again[0]) + 1 if len(again) else len(tags)
    repeats = len(tags) % period == 0 and all(
        np.array_equal(values[period:], values[:-period]) for values in (tags.kinds, tags.is_empty)
    )
    return period if repeats else len(tags)


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
