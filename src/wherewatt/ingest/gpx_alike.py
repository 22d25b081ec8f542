"""Track points that are written as one before them, all at once.

A recorder writes one point as the other: the same markup, the same number of decimals, a time of
the same form. So every byte of the points is compared with that of a sample, or read as a digit.
What has the same markup is as well-formed as the sample, and means the same. The first point that
is written otherwise ends the run; what lies between two points may be anything.
"""

from __future__ import annotations

import re
from itertools import zip_longest
from typing import NamedTuple

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.ingest.gpx_pattern import Pattern, Piece
from wherewatt.ingest.points import NO_TIME, NS_LIMIT, Nanoseconds, PointColumns
from wherewatt.ingest.text_columns import Bytes, Texts, read_moments
from wherewatt.ingest.text_words import BEYOND_ASCII, WORD, Windows, Words, literals_of

_VALUE_BYTES = frozenset(b"0123456789-.")
_WHITE_SPACE = b" \t\r\n"
_EXACT_BITS = np.uint64(53)  # of whole numbers that are exact as floats
_SIGN_BIT = np.uint64(63)
_TO_SECONDS = 17  # characters of a time
_NS_PER_S = 1_000_000_000
_MINUTE_NS = 60 * _NS_PER_S


class Run(NamedTuple):
    """Points that a pattern fits.

    Parameters
    ----------
    columns : the points.
    gaps : what lies between them and is more than white space, in its order.
    end : where the last of them ends in the file.
    is_cut : whether a point that is written otherwise follows.
    """

    columns: PointColumns
    gaps: list[bytes]
    end: int
    is_cut: bool


def read_alike(data: bytes, start: int, end: int, pattern: Pattern) -> Run | None:
    """Read points from the first of a part of a file on, up to one that a pattern does not fit.

    Parameters
    ----------
    data : the file.
    start, end : the part of it in which points may begin; one begins it.
    pattern : how they are written.

    Returns
    -------
    The points; None if there are none.
    """
    # a number has less than a word before its decimals; reading looks a word beyond each piece
    longest = sum(len(piece.text) + 2 * WORD for piece in pattern.pieces) + len(pattern.gap)
    beyond = end + longest + WORD
    codes = np.frombuffer(_with_zeros(data, start, beyond), dtype=np.uint8)
    starts = _starts(codes, end - start, pattern)
    if not len(starts) or starts[0] != 0:
        return None
    points = _Points(codes, starts, pattern)
    gaps, count = _gaps(points, pattern)
    columns = points.columns(count) if count else None
    if columns is None or not len(columns):
        return None
    last = len(columns) - 1
    between = [gap for after, gap in gaps.items() if after < last]
    return Run(columns, between, start + int(points.ends[last]), last + 1 < len(starts))


def _starts(codes: Bytes, size: int, pattern: Pattern) -> IntArray:
    """Where in so many bytes the first piece of a point stands; its rarest byte shows where."""
    head = pattern.pieces[0]
    point = b"".join(piece.text for piece in pattern.pieces) + pattern.gap
    mark = min(set(head.text) - _VALUE_BYTES, key=point.count)
    at = head.text.index(mark)
    starts = np.flatnonzero(codes[at : at + size] == mark)
    if not len(starts):
        return starts
    unlike = np.zeros(len(starts), dtype=np.uint64)
    Windows(codes, starts, len(head.text)).differences(head.literals, unlike)
    return starts[unlike == 0]


def _gaps(points: _Points, pattern: Pattern) -> tuple[dict[int, bytes], int]:
    """What stands after some points and is more than white space, up to a point written otherwise.

    Returns
    -------
    By number of the point before; and how many points there are.
    """
    codes, ends, starts = points.codes, points.ends, points.starts
    apart = np.zeros(len(ends), dtype=np.uint64)
    Windows(codes, ends, len(pattern.gap)).differences(literals_of(pattern.gap, []), apart)
    fits = points.faults == 0
    fits[1:] &= ends[:-1] <= starts[1:]
    count = len(fits) if fits.all() else int(np.argmin(fits))
    other = (apart[:-1] != 0) | (ends[:-1] + len(pattern.gap) != starts[1:])
    gaps: dict[int, bytes] = {}
    for after in np.flatnonzero(other[: max(0, count - 1)]).tolist():
        gap = codes[ends[after] : starts[after + 1]].tobytes()
        if pattern.opening in gap:
            return gaps, after + 1
        if gap.strip(_WHITE_SPACE):
            gaps[after] = gap
    return gaps, count


def _with_zeros(data: bytes, start: int, end: int) -> bytes | memoryview:
    """A part of a file, with zeros where the file has ended."""
    if end <= len(data):
        return memoryview(data)[start:end]
    return data[start:] + bytes(end - len(data))


class _Moments(NamedTuple):
    """The times of (n,) points.

    Parameters
    ----------
    texts : the texts.
    minutes : words that hold all of the texts up to their seconds.
    within_ns : nanoseconds since the full minute.
    """

    texts: Texts
    minutes: tuple[Words, Words]
    within_ns: Nanoseconds

    def read(self, count: int) -> Nanoseconds:
        """UTC of the first points [ns since 1970], up to one that has no such time."""
        new = np.zeros(count, dtype=bool)
        new[0] = True
        for words in self.minutes:
            new[1:] |= words[1:count] != words[: count - 1]
        first = np.flatnonzero(new)
        data, starts, ends = self.texts
        found, _ = read_moments(Texts(data, starts[first], ends[first]))
        readable = np.abs(np.maximum(found, -NS_LIMIT)) < NS_LIMIT - _MINUTE_NS
        if not readable.all():
            some = int(np.argmin(readable))
            count, first, found = int(first[some]), first[:some], found[:some]
        found -= self.within_ns[first]
        return np.repeat(found, np.diff(first, append=count)) + self.within_ns[:count]


class _Points:
    """Points as they are if a pattern fits them.

    Parameters
    ----------
    codes : the text.
    starts : (n,) where the first piece of the pattern stands.
    pattern : how they are written.

    Attributes
    ----------
    ends : (n,) where they end.
    faults : (n,) zero where the pattern fits.
    """

    def __init__(self, codes: Bytes, starts: IntArray, pattern: Pattern) -> None:
        self.codes = codes
        self.starts = starts
        self.ends = starts.copy()
        self.faults: Words = np.zeros(len(starts), dtype=np.uint64)
        self._values: dict[str, FloatArray] = {}
        self._moments: _Moments | None = None
        self._is_zoneless = False
        number: tuple[Words, Words] | None = None
        for piece, after in zip_longest(pattern.pieces, pattern.pieces[1:]):
            size = len(piece.text)
            windows = Windows(codes, self.ends, size)
            windows.differences(piece.literals, self.faults)
            if number is not None:
                self._read_number(windows, piece, *number)
            if piece.moment is not None:
                self._read_time(windows, piece.moment)
            self.ends += size
            if after is not None:
                whole, minus, length = windows.whole_numbers(size, after.text[0], self.faults)
                self.ends += length.view(np.int64)
                number = whole, minus

    def columns(self, count: int) -> PointColumns:
        """The first points, up to one whose time cannot be read."""
        unix_ns = np.full(count, NO_TIME, dtype=np.int64)
        if self._moments is not None:
            unix_ns = self._moments.read(count)
        values = {name: column[: len(unix_ns)] for name, column in self._values.items()}
        return PointColumns(unix_ns, values, np.full(len(unix_ns), self._is_zoneless))

    def _read_number(self, windows: Windows, piece: Piece, amount: Words, minus: Words) -> None:
        """Read the decimals of a number whose whole part is known."""
        if piece.decimals:
            amount *= np.uint64(10**piece.decimals)
            amount += windows.digits(1, piece.decimals, self.faults)
        self.faults |= amount >> _EXACT_BITS
        if piece.column is not None:
            # a quotient of exact numbers, rounded once: see `wherewatt.ingest.text_columns`
            values = amount / 10.0**piece.decimals
            values.view(np.uint64)[:] |= minus << _SIGN_BIT
            self._values[piece.column] = values

    def _read_time(self, windows: Windows, moment: re.Match[bytes]) -> None:
        """Read the seconds of a time, and keep what its minute is to be read from."""
        at = moment.start()
        seconds = windows.digits(at + _TO_SECONDS, 2, self.faults)
        self.faults |= seconds > 59
        within = seconds * np.uint64(_NS_PER_S)
        if (digits := len(moment[7] or b"")) > 0:
            fraction = windows.digits(moment.start(7), digits, self.faults)
            within += fraction * np.uint64(10 ** (9 - digits))
        texts = Texts(self.codes.data, self.ends + at, self.ends + moment.end())
        minutes = windows.words(at), windows.words(at + WORD)
        for words in minutes:
            self.faults |= words & BEYOND_ASCII
        self._moments = _Moments(texts, minutes, within.view(np.int64))
        self._is_zoneless = moment[8] is None
