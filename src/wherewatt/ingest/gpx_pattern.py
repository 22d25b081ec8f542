"""How a file writes its track points, learnt from one of them; see `wherewatt.ingest.gpx_alike`.

The point is a *sample*: expat says whether it is well-formed and what its elements are. What may
differ from point to point are its numbers, but not how many decimals they have, and its time.
"""

from __future__ import annotations

import re
from typing import NamedTuple
from xml.parsers import expat

from wherewatt.ingest.gpx_fields import CHILDREN, column_of
from wherewatt.ingest.gpx_positions import PLAIN_TAG
from wherewatt.ingest.text_words import Literal, literals_of
from wherewatt.ingest.xml_stream import local_name, new_parser

# ``<`` and ``>`` take turns; no comments, CDATA, instructions or entities
_PLAIN_MARKUP = re.compile(rb"(?:<[^<>&!?][^<>&]*>[^<>&]*)+")
_WHITE_SPACE = re.compile(rb"[ \t\r\n]*")
_NUMBER = re.compile(rb"-?\d{1,6}(?:\.\d{1,12})?")  # with any more digits exact in 64 bits
_MOMENT = re.compile(
    rb"(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d):(\d\d)(?:\.(\d{1,9}))?(Z|[+-]\d\d:\d\d)?"
)
_TIME = CHILDREN["time"]
_ATTRIBUTES = {"lat": "latitude_deg", "lon": "longitude_deg"}
_LONGEST = 4096


class Piece(NamedTuple):
    """A part of a point that is as long in all of them; before all but the first stands a number.

    Parameters
    ----------
    column : what that number is, if it is of use.
    decimals : how many of its digits the piece begins with, behind a decimal point.
    text : the piece in the sample.
    moment : the time, if it stands here: whole, seconds and their fraction, zone.
    literals : what is the same in all points.
    """

    column: str | None
    decimals: int
    text: bytes
    moment: re.Match[bytes] | None
    literals: tuple[Literal, ...]


class Pattern(NamedTuple):
    """How points are written.

    Parameters
    ----------
    opening : what begins a point, however it goes on.
    pieces : what a point is made of, with a number between each two.
    gap : the white space after the point that it was learnt from.
    levels : how deep elements lie within each other, 1 for points without children.
    """

    opening: bytes
    pieces: tuple[Piece, ...]
    gap: bytes
    levels: int


class _Value(NamedTuple):
    """A text in a sample that may differ from point to point, and the column it fills, if any."""

    start: int
    end: int
    column: str | None


def pattern_of(data: bytes, start: int, point: bytes) -> Pattern | None:
    """The pattern of a point, if all that we want of it is plainly written.

    Parameters
    ----------
    data : the file.
    start : where the point begins.
    point : name of a track point, with its prefix.
    """
    opening, closing = b"<" + point, b"</" + point + b">"
    end = data.find(b">", start, start + _LONGEST) + 1
    if not data.endswith(b"/>", start, max(start, end)):
        end = data.find(closing, start, start + _LONGEST) + len(closing)
    sample = data[start : max(start, end)]
    if not sample.isascii() or _PLAIN_MARKUP.fullmatch(sample) is None:
        return None
    reader = _Reader(sample)
    if not sample[len(opening) :][:1].isspace() or not reader.is_plain():
        return None
    gap = _WHITE_SPACE.match(data, end, end + _LONGEST)
    pieces = _pieces(sample, sorted(reader.values))
    return Pattern(opening, tuple(pieces), gap[0] if gap else b"", reader.levels)


class _Reader:
    """Finds the values of a sample.

    Parameters
    ----------
    sample : a point.
    """

    def __init__(self, sample: bytes) -> None:
        self.values: list[_Value] = []
        self.levels = 0
        self._sample = sample
        self._depth = 0
        self._is_leaf = False
        self._seen: set[str] = set()
        self._parser = new_parser()
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end

    def is_plain(self) -> bool:
        """Read the sample; whether it is well-formed, with a plain text for each column."""
        tag = PLAIN_TAG.match(self._sample.decode("ascii"))
        if tag is None:
            return False
        first, second = ("lat", "lon") if tag["one"] == "lat" else ("lon", "lat")
        self.values = [
            _Value(*tag.span("first"), _ATTRIBUTES[first]),
            _Value(*tag.span("second"), _ATTRIBUTES[second]),
        ]
        try:
            self._parser.Parse(self._sample, True)
        except expat.ExpatError:
            return False
        return all(map(self._is_plain, self.values))

    def _is_plain(self, value: _Value) -> bool:
        form = _MOMENT if value.column == _TIME else _NUMBER
        return form.fullmatch(self._sample, value.start, value.end) is not None

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        self.levels = max(self.levels, self._depth)
        self._is_leaf = True

    def _end(self, name: str) -> None:
        self._depth -= 1
        column = column_of(local_name(name), is_child=self._depth == 1)
        end = start = self._parser.CurrentByteIndex
        if self._is_leaf and self._sample.startswith(b"</", end):
            start = self._sample.rindex(b">", 0, end) + 1
        self._is_leaf = False
        if column is not None and column not in self._seen:  # the first of several holds
            self._seen.add(column)
            self.values.append(_Value(start, end, column))
        elif self._is_plain(value := _Value(start, end, None)):
            self.values.append(value)


def _pieces(sample: bytes, values: list[_Value]) -> list[Piece]:
    """Cut a point behind the whole part of each number."""
    time = next((value for value in values if value.column == _TIME), None)
    pieces, start = list[Piece](), 0
    column: str | None = None
    decimals = 0
    for value in (*values, _Value(len(sample), len(sample), None)):
        if value is time:
            continue
        text = sample[start : value.start]
        free = [slice(1, 1 + decimals)]
        moment = None
        if time is not None and start <= time.start < value.start:
            moment = _MOMENT.fullmatch(text, time.start - start, time.end - start)
            assert moment is not None  # it is plain
            free += [slice(*moment.span(group)) for group in range(1, 8) if moment[group]]
        pieces.append(Piece(column, decimals, text, moment, literals_of(text, free)))
        whole, _, fraction = sample[value.start : value.end].partition(b".")
        start = value.start + len(whole)
        column, decimals = value.column, len(fraction)
    return pieces
