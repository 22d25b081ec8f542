"""Reading the points of a GPX file column by column: fast, and exact or not at all.

The file is cut in two. What lies outside the track points (its *frame*) goes through expat, with an
empty ``<trkpt/>`` in place of each run of points; so it is as well-formed as expat says, and an
empty point that expat does not see stood within a comment or CDATA. Points that are written alike
are compared with the first of them, a chunk at once (`wherewatt.ingest.gpx_alike`). Others are
taken in chunks too, by array operations on the positions of ``<`` and ``>``.

The scan vouches for such a chunk if, within its points,

- every ``<`` is followed by one ``>`` before the next ``<``;
- all bytes are ASCII characters that XML allows, and no ``&`` is among them;
- there are no comments, CDATA or processing instructions;
- names are plain, end tags are the mere name, and start and end tags nest and match;
- attributes are well-formed (``lat`` and ``lon`` in one of the usual layouts are seen to be so;
  expat reads all others).

That is well-formed XML. Else, and for a document type or a frame that breaks, the scan declines,
and `wherewatt.ingest.gpx_salvage` reads the file and says what is wrong with it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple, TypeVar
from xml.parsers import expat

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import FloatArray
from wherewatt.ingest.gpx_alike import read_alike
from wherewatt.ingest.gpx_pattern import Pattern, pattern_of
from wherewatt.ingest.gpx_points import Stretch, read_chunk
from wherewatt.ingest.gpx_tags import BEYOND, Kind, UnusualError
from wherewatt.ingest.points import PointColumns
from wherewatt.ingest.source import Limits
from wherewatt.ingest.xml_stream import EntityDeclaredError, local_name, new_parser

_FIRST_POINT = re.compile(rb"<((?:[A-Za-z_][\w.-]*:)?trkpt)[\s/>]")
_CHUNK_BYTES = 1 << 20
_FEWEST_ALIKE = 2048  # points; fewer before another one are sooner read as they come
_MORE = 1.1  # times the points that seem to be left: room is made for these
# expat begins a tag or comment anew with each piece: one without end would take quadratic time
_LONGEST_MARKUP_BYTES = 8 * _CHUNK_BYTES

_Scalar = TypeVar("_Scalar", bound=np.generic)

# The C library of Linux hands freed memory back to the system beyond a mark that rises with the
# largest block ever freed. A block as large as all that a chunk needs, taken and freed once and
# never touched, lets the next chunk and the next file use the same pages: a quarter of the time.
np.empty(4 * _CHUNK_BYTES, dtype=np.uint8)


def scan(data: bytes, limits: Limits) -> PointColumns | None:
    """Read the track points of a GPX file, or decline.

    Parameters
    ----------
    data : the file as UTF-8 text.
    limits : how many points there may be (the scan ends when there are more), and how deep
        elements may lie.

    Returns
    -------
    The same points as `wherewatt.ingest.gpx_salvage.salvage` gives; None to let that read them.
    """
    found = _FIRST_POINT.search(data)
    if found is None:
        return None
    frame = _Frame(found[1])
    collected = _Collected(len(data))
    deepest = 0
    try:
        for part in _parts(data, found.start(), frame):
            collected.add(part.columns, part.end)
            deepest = max(deepest, part.levels)
            if len(collected) > limits.max_points:
                return collected.columns()
        frame.finish()
    except (UnusualError, EntityDeclaredError, expat.ExpatError):
        return None
    return collected.columns() if frame.deepest + deepest <= limits.max_xml_depth else None


class _Part(NamedTuple):
    """Some of a file's points, how deep elements lie in them, and where in the file they end."""

    columns: PointColumns
    levels: int
    end: int


def _parts(data: bytes, start: int, frame: _Frame) -> Iterator[_Part]:
    """Read the points from the first on, and what lies around them.

    As they are written alike, and where that soon ends, as they come.
    """
    known: list[Kind] = []
    pattern: Pattern | None = None
    size = _CHUNK_BYTES  # of what is tried at once; less after it was in vain
    frame.feed(data, 0, start)
    while start >= 0:
        pattern = pattern or pattern_of(data, start, frame.point)
        run = None if pattern is None else read_alike(data, start, start + size, pattern)
        if pattern is None or run is None or (run.is_cut and len(run.columns) < _FEWEST_ALIKE):
            part = _as_they_come(data, start, frame, known)
            pattern, size = None, _CHUNK_BYTES // 16
        else:
            frame.mark_around(run.gaps)
            part = _Part(run.columns, pattern.levels, run.end)
            size = min(2 * (part.end - start), _CHUNK_BYTES)
        yield part
        start = data.find(b"<" + frame.point, part.end)
        frame.feed(data, part.end, start if start >= 0 else len(data))


def _as_they_come(data: bytes, start: int, frame: _Frame, known: list[Kind]) -> _Part:
    """Read a chunk of points, however they are written, and what lies between them."""
    end = _chunk_end(data, start, frame.point)
    piece = data[start : end + BEYOND].ljust(end - start + BEYOND, b"\0")
    is_plain = piece.isascii() and b"&" not in piece
    stretch = Stretch(memoryview(piece), end - start, is_plain)
    chunk = read_chunk(stretch, frame.point, known)
    frame.mark_around(chunk.gaps)
    frame.feed(chunk.tail, 0, len(chunk.tail))
    return _Part(chunk.columns, chunk.levels, end)


class _Frame:
    """What lies outside the points, read by expat with an empty point in place of each run.

    Parameters
    ----------
    point : name of a track point, with its prefix.
    """

    def __init__(self, point: bytes) -> None:
        self.point = point
        self.deepest = 0
        self._depth = 0
        self._marked = self._seen = 0
        self._fed = 0
        self._parser = new_parser()
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.StartDoctypeDeclHandler = self._doctype

    def feed(self, data: bytes, start: int, end: int) -> None:
        """Take a part of the frame."""
        for place in range(start, end, _CHUNK_BYTES):
            piece = data[place : min(place + _CHUNK_BYTES, end)]
            self._parser.Parse(piece, False)
            self._fed += len(piece)
            if self._fed - self._parser.CurrentByteIndex > _LONGEST_MARKUP_BYTES:
                raise UnusualError

    def mark_around(self, gaps: list[bytes]) -> None:
        """Put an empty point before, between and after some parts of the frame."""
        self._marked += len(gaps) + 1
        parts = (b"<" + self.point + b"/>").join([b"", *gaps, b""])
        self.feed(parts, 0, len(parts))

    def finish(self) -> None:
        """End the document."""
        self._parser.Parse(b"", True)
        if self._seen != self._marked:
            raise UnusualError  # a mark stood in a comment, or a point elsewhere was not found

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        if self._depth == 0 and local_name(name).lower() != "gpx":
            raise UnusualError
        self._depth += 1
        self.deepest = max(self.deepest, self._depth)
        self._seen += local_name(name) == "trkpt"

    def _end(self, name: str) -> None:
        self._depth -= 1

    def _doctype(self, *declaration: object) -> None:
        raise UnusualError  # it may give attributes that no tag shows


def _chunk_end(data: bytes, start: int, point: bytes) -> int:
    """Find where to end a chunk: after a point's end, before one's start, or at the file's end."""
    limit = start + _CHUNK_BYTES
    closing, opening = b"</" + point + b">", b"<" + point
    if (end := data.rfind(closing, start, limit)) >= 0:
        return end + len(closing)
    if (end := data.rfind(opening, start + 1, limit)) >= 0:
        return end
    if (end := data.find(b"/>", start, limit)) >= 0:
        return end + 2
    raise UnusualError


class _Collected:
    """The points so far, in columns of about their full length from the start.

    Parts and a copy of all would need more room; what of a column is not written yet takes none.

    Parameters
    ----------
    size : of the file [byte].
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._count = 0
        self._unix_ns = np.empty(0, dtype=np.int64)
        self._zoneless = np.empty(0, dtype=bool)
        self._values: dict[str, FloatArray] = {}

    def __len__(self) -> int:
        return self._count

    def add(self, points: PointColumns, end: int) -> None:
        """Take more points, which end at a place in the file."""
        new = slice(self._count, self._count + len(points))
        if new.stop > len(self._unix_ns):
            room = new.stop + int(_MORE * new.stop * (self._size - end) / end)
            self._unix_ns = self._in_room(self._unix_ns, room)
            self._zoneless = self._in_room(self._zoneless, room)
            for name, column in self._values.items():
                self._values[name] = self._in_room(column, room)
        for name in points.values.keys() - self._values.keys():
            self._values[name] = np.empty(len(self._unix_ns))
            self._values[name][: self._count] = np.nan
        for name, column in self._values.items():
            column[new] = points.values.get(name, np.nan)
        self._unix_ns[new] = points.unix_ns
        self._zoneless[new] = points.zoneless
        self._count = new.stop

    def _in_room(self, column: npt.NDArray[_Scalar], room: int) -> npt.NDArray[_Scalar]:
        """A column in another one that has more room."""
        wide = np.empty(room, dtype=column.dtype)
        wide[: self._count] = column[: self._count]
        return wide

    def columns(self) -> PointColumns:
        """All of them."""
        return PointColumns(
            unix_ns=self._unix_ns[: self._count],
            values={name: column[: self._count] for name, column in self._values.items()},
            zoneless=self._zoneless[: self._count],
        )
