"""Numbers and times out of a text by the thousand, exactly as one by one.

The values of a column mostly share a shape: so many digits, a point, so many digits. So the shape
of one value is learnt, all values of that shape are read, one column of digits after the other,
and the next shape is learnt from what is left. Whatever has no plain shape is read on its own, by
`to_float` or `parse_moment`; both ways give the same value for the same text.

A whole number below 2⁵³ is exact as a float, and so is a power of ten up to the 22nd; their
quotient, rounded once, is the float nearest to the decimal (Clinger 1990, "How to read floating
point numbers accurately", section 3).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.ingest.clock import parse_moment
from wherewatt.ingest.points import NO_TIME, NS_LIMIT, Nanoseconds, to_float

Bytes = npt.NDArray[np.uint8]

_DECIMAL = re.compile(r"(-?)(\d+)(\.\d+)?", re.ASCII)
_MOMENT = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:\.(\d{1,30}))?(Z|[+-]\d\d:\d\d)?", re.ASCII
)
_EXACT = 2.0**53  # below, whole numbers are exact as floats
_MOST_DIGITS = 16  # numbers of fewer digits are all below, and some with so many
_LONGEST_DECIMAL = 40  # longer ones are read one by one
_MOST_SHAPES = 64
_FEW = 12  # values; so few are sooner read one by one
_ZERO = ord("0")
_DAY_S = 86_400
_NS_PER_S = 1_000_000_000


class Texts(NamedTuple):
    """Pieces of a text: piece i is ``data[starts[i]:ends[i]]``, all of it ASCII.

    Parameters
    ----------
    data : the text.
    starts, ends : (n,) where the pieces begin and end.
    """

    data: bytes | memoryview
    starts: IntArray
    ends: IntArray

    def piece(self, index: int) -> str:
        """One piece."""
        return str(self.data[self.starts[index] : self.ends[index]], "ascii")

    def table(self, which: IntArray, width: int) -> Bytes:
        """(width, len(which)) bytes of some pieces, one column each; all are that long."""
        windows: npt.NDArray[np.void] = np.ndarray(
            len(self.data) - width + 1, dtype=f"V{width}", buffer=self.data, strides=(1,)
        )
        rows = windows[self.starts[which]].view(np.uint8).reshape(len(which), width)
        return np.ascontiguousarray(rows.T)


def read_decimals(texts: Texts) -> FloatArray:
    """(n,) the pieces as numbers; NaN where a piece is none."""
    values = np.full(len(texts.starts), np.nan)

    def read_alike(sample: str, which: IntArray) -> BoolArray | None:
        if len(sample) > _LONGEST_DECIMAL or _DECIMAL.fullmatch(sample) is None:
            return None
        alike, table = same_shape(texts.table(which, len(sample)), sample, slice(None))
        values[which[alike]] = decimals_in(table, sample)
        return alike

    odd = shape_by_shape(texts, read_alike)
    values[odd] = [to_float(texts.piece(index)) for index in odd]
    return values


def read_moments(texts: Texts) -> tuple[Nanoseconds, BoolArray]:
    """(n,) the pieces as UTC [ns since 1970], `NO_TIME` where none, and which had no zone."""
    unix_ns = np.full(len(texts.starts), NO_TIME, dtype=np.int64)
    zoneless = np.zeros(len(texts.starts), dtype=bool)

    def read_alike(sample: str, which: IntArray) -> BoolArray | None:
        match = _MOMENT.fullmatch(sample)
        if match is None:
            return None
        alike, table = same_shape(texts.table(which, len(sample)), sample, slice(None))
        found, possible = _moments(table - _ZERO, match)
        chosen = which[alike][possible]
        unix_ns[chosen] = found[possible]
        zoneless[chosen] = match[2] is None
        return alike

    for index in shape_by_shape(texts, read_alike):
        moment = parse_moment(texts.piece(index).strip())
        if moment is not None:
            unix_ns[index] = moment.unix_ns
            zoneless[index] = not moment.zoned
    return unix_ns, zoneless


def shape_by_shape(
    texts: Texts, read_alike: Callable[[str, IntArray], BoolArray | None]
) -> list[int]:
    """Let pieces of like shape be read together; return which are to be read one by one.

    Parameters
    ----------
    texts : the pieces; empty ones are left out.
    read_alike : given a sample and pieces of its length, reads those of its shape and says which
        they were; None if the sample has no plain shape.
    """
    lengths = texts.ends - texts.starts
    left = np.flatnonzero(lengths)
    odd: list[int] = []
    for _ in range(_MOST_SHAPES):
        if len(left) <= _FEW:
            break
        sample = int(left[0])
        same_length = lengths[left] == lengths[sample]
        alike = read_alike(texts.piece(sample), left[same_length])
        if alike is None:
            odd.append(sample)
            left = left[1:]
        else:
            same_length[same_length] = alike
            left = left[~same_length]
    return [*odd, *map(int, left)]


def same_shape(table: Bytes, sample: str, *numbers: slice) -> tuple[BoolArray, Bytes]:
    """(n,) which columns of a table have a sample's shape, and a table of these.

    Parameters
    ----------
    table : (k, n) texts as long as the sample, one column each.
    sample : the sample.
    numbers : where any digit will do for a digit of the sample; elsewhere all is to be the same.
    """
    lowest = np.array([ord(mark) for mark in sample], dtype=np.uint8)
    span = np.zeros(len(sample), dtype=np.uint8)
    for number in numbers:
        digits = [mark.isdigit() for mark in sample[number]]
        lowest[number][digits] = _ZERO
        span[number][digits] = 9
    # below the lowest the difference wraps around to large numbers
    within = (table - lowest[:, np.newaxis]) <= span[:, np.newaxis]
    alike = np.logical_and.reduce(within, axis=0)
    return alike, table if alike.all() else table[:, alike]


def decimals_in(table: Bytes, sample: str) -> FloatArray:
    """(n,) the columns of a table as numbers; all have the shape of a plain decimal."""
    digits = table[[mark.isdigit() for mark in sample]] - _ZERO
    if len(digits) > _MOST_DIGITS:
        return _long_decimals(table)
    single = len(digits) % 2
    whole = digits[:single].sum(axis=0, dtype=np.float64)  # the first digit, if it has no pair
    for pair in 10 * digits[single::2] + digits[single + 1 :: 2]:
        whole *= 100.0
        whole += pair
    values = whole / 10.0 ** len(sample.partition(".")[2])
    if sample.startswith("-"):
        np.negative(values, out=values)
    if len(digits) == _MOST_DIGITS:
        inexact = whole >= _EXACT
        values[inexact] = _long_decimals(table[:, inexact])
    return values


def _long_decimals(table: Bytes) -> FloatArray:
    """(n,) the columns of a table as numbers; plain decimals of any number of digits."""
    spaced = np.vstack([table, np.full(table.shape[1], ord(" "), dtype=np.uint8)])
    return np.fromstring(spaced.T.tobytes(), sep=" ")


def _moments(digits: Bytes, match: re.Match[str]) -> tuple[Nanoseconds, BoolArray]:
    """(n,) UTC [ns since 1970] in the columns of a table, and whether there is such a time.

    Parameters
    ----------
    digits : table of times of one shape, less the code of zero.
    match : the sample whose shape it is.
    """

    def numbers(*places: int) -> list[Nanoseconds]:
        """Numbers of two digits that begin at some places."""
        return [(10 * digits[at] + digits[at + 1]).astype(np.int64) for at in places]

    century, year, month, day, hour, minute, second = numbers(0, 2, 5, 8, 11, 14, 17)
    days, possible = _days(100 * century + year, month, day)
    possible &= (hour < 24) & (minute < 60) & (second < 60)
    seconds = _DAY_S * days + 3600 * hour + 60 * minute + second
    if match[2] not in (None, "Z"):
        hours, minutes = numbers(match.start(2) + 1, match.start(2) + 4)
        possible &= (hours < 24) & (minutes < 60)
        ahead_s = 3600 * hours + 60 * minutes
        seconds += ahead_s if match[2].startswith("-") else -ahead_s
    possible &= np.abs(seconds) <= NS_LIMIT // _NS_PER_S  # their nanoseconds fit 64 bits
    unix_ns = np.where(possible, seconds, 0) * _NS_PER_S
    # what is finer than a nanosecond is cut off
    for place, digit in enumerate(digits[slice(*match.span(1))][:9], start=1):
        unix_ns += digit * np.int64(10 ** (9 - place))
    return unix_ns, possible & (np.abs(unix_ns) < NS_LIMIT)


def _days(year: Nanoseconds, month: Nanoseconds, day: Nanoseconds) -> tuple[Nanoseconds, BoolArray]:
    """(n,) days since 1970 of dates, and whether the calendar has them."""
    possible = (year >= 1) & (month >= 1) & (month <= 12)
    months = np.where(possible, 12 * (year - 1970) + month - 1, 0)
    first = int(months.min(initial=0))
    every_month = np.arange(first, int(months.max(initial=0)) + 2).astype("datetime64[M]")
    month_starts = every_month.astype("datetime64[D]").astype(np.int64)
    start = month_starts[months - first]
    length = month_starts[months - first + 1] - start
    return start + day - 1, possible & (day >= 1) & (day <= length)
