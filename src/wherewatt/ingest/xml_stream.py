"""What the readers of XML share: decoding, a parser that cannot be abused, the root's name.

The parser never expands an entity, never opens another file, and ends at a bounded depth.
"""

from __future__ import annotations

import codecs
import contextlib
import re
from typing import NamedTuple, Protocol
from xml.parsers import expat

from wherewatt.ingest.track import Note

TCX_ROOT = "TrainingCenterDatabase"

_DECLARATION = re.compile(r"^\s*<\?xml\b[^>]*\?>")
_ENCODING = re.compile(r"""encoding\s*=\s*["']([\w.:-]+)["']""")
# Alphabets of real files. Python knows stranger codecs, some of them slow or not for text.
_KNOWN_ENCODING = re.compile(
    r"utf-?8|(us-)?ascii|(iso-?)?8859-\d+|latin-?\d+|(windows-|cp)125\d|koi8-[ru]|mac-?roman"
    r"|shift[_-]?jis|euc-(jp|kr)|gb(k|2312|18030)|big5",
    re.IGNORECASE,
)
# (start of the file, encoding); UTF-32 before UTF-16, whose mark it begins with
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
    (b"<\x00", "utf-16-le"),
    (b"\x00<", "utf-16-be"),
)
_PIECE = 1 << 20
# With each piece the parser begins an open tag or comment anew: without end, that is quadratic.
_LONGEST_MARKUP_BYTES = 8 * _PIECE
_HEAD_BYTES = 1 << 12


class EntityDeclaredError(Exception):
    """The document declares entities: it could grow without limit, or ask for other files."""


class TooDeepError(Exception):
    """Elements lie deeper within elements than the limit allows."""


class _RootSeenError(Exception):
    """Not an error: the root element's name is known, the rest need not be parsed."""


class Handler(Protocol):
    """What takes the parser's events.

    A path holds the local names of the open elements from the root inwards, the element itself
    last. It is one list for all events: to be looked at, not to be kept.
    """

    def start(self, path: list[str], attributes: dict[str, str]) -> None:
        """Take the start of an element."""

    def end(self, path: list[str], text: str) -> None:
        """Take the end of an element, with its text since the last start or end of any other."""


class Break(NamedTuple):
    """Where a document stops to be XML (line from 1), and why in the parser's words."""

    line: int
    reason: str


def decode(data: bytes) -> tuple[str, list[Note]]:
    """Decode an XML file and blank its declaration, which does not hold for decoded text."""
    encoding, sure = _encoding(data)
    notes = []
    try:
        text = data.decode(encoding)
    except (UnicodeError, LookupError) as error:
        # only names suffer: the numbers of a track are plain ASCII
        text = data.decode(encoding if sure else "utf-8", errors="replace")
        notes.append(Note("text-encoding", f"not all of the file is {encoding} text ({error})"))
    text = text.removeprefix("\ufeff")
    # lines are kept, so that messages count them as the file has them
    return _DECLARATION.sub(lambda match: "\n" * match[0].count("\n"), text, count=1), notes


def _encoding(data: bytes) -> tuple[str, bool]:
    """Find the encoding, and whether the first bytes prove it: a declaration may be wrong."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return encoding, True
    head = data[:200].decode("latin-1")
    declaration = _DECLARATION.match(head)
    declared = _ENCODING.search(declaration[0]) if declaration else None
    # the first bytes have shown that characters are not two or four bytes wide
    if declared is None or not _KNOWN_ENCODING.fullmatch(declared[1]):
        return "utf-8", False
    return declared[1], False


def is_utf8(data: bytes) -> bool:
    """Whether an XML file says that it is UTF-8, or is ASCII: it need not be decoded then."""
    return data.isascii() or _encoding(data)[0].lower() in ("utf-8", "utf8", "utf-8-sig")


def root_of(data: bytes) -> str:
    """Local name of an XML file's root element; empty if it cannot be told.

    The head of the file will do, unless a comment longer than that comes first.
    """
    for head in (data[:_HEAD_BYTES], data):
        try:
            if name := root_name(decode(head)[0]):
                return name
        except EntityDeclaredError:
            return ""
    return ""


def root_name(text: str) -> str:
    """Local name of the root element; empty if the text breaks before it.

    Raises
    ------
    EntityDeclaredError
        If the document type declares entities.
    """
    names: list[str] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        names.append(local_name(name))
        raise _RootSeenError

    parser = new_parser()
    parser.StartElementHandler = start
    with contextlib.suppress(_RootSeenError):
        _feed(parser, text)
    return names[0] if names else ""


def stream(text: str, handler: Handler, max_depth: int) -> Break | None:
    """Give a document to a handler, as far as it can be read; say where it breaks, if it does.

    Raises
    ------
    EntityDeclaredError
        If the document type declares entities.
    TooDeepError
        If elements lie deeper than `max_depth`.
    """
    path: list[str] = []
    texts: list[str] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        if len(path) == max_depth:
            raise TooDeepError
        path.append(local_name(name))
        texts.clear()
        handler.start(path, attributes)

    def end(name: str) -> None:
        handler.end(path, "".join(texts))
        path.pop()
        texts.clear()

    parser = new_parser()
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = texts.append
    return _feed(parser, text)


def new_parser() -> expat.XMLParserType:
    """Make a parser that refuses entity declarations before anything can use them."""

    def refuse_entity(*declaration: object) -> None:
        raise EntityDeclaredError

    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = True
    parser.EntityDeclHandler = refuse_entity
    return parser


def local_name(name: str) -> str:
    """Name of an element without its namespace prefix."""
    return name.rpartition(":")[2] if ":" in name else name


def _feed(parser: expat.XMLParserType, text: str) -> Break | None:
    """Parse a text piece by piece, as far as it is XML."""
    fed = 0
    try:
        for start in range(0, len(text), _PIECE):
            piece = text[start : start + _PIECE].encode("utf-8", errors="replace")
            parser.Parse(piece, False)
            fed += len(piece)
            if fed - parser.CurrentByteIndex > _LONGEST_MARKUP_BYTES:
                return Break(parser.CurrentLineNumber, "a tag or comment without end")
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        return Break(error.lineno, expat.errors.messages[error.code])
    return None
