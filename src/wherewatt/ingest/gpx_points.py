"""The track points of one stretch of a GPX file, all at once; see `wherewatt.ingest.gpx_scan`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wherewatt.arrays import BoolArray, IntArray
from wherewatt.ingest.gpx_fields import CHILDREN, column_of
from wherewatt.ingest.gpx_positions import read_positions
from wherewatt.ingest.gpx_tags import (
    PADDING,
    Kind,
    Levels,
    Tags,
    UnusualError,
    attributes_of,
    check_nesting,
    find_tags,
)
from wherewatt.ingest.points import NO_TIME, PointColumns
from wherewatt.ingest.text_columns import Texts, read_decimals, read_moments

_CHILD_LEVEL = 2  # that of the point is 1
_WHITE = b"\n\r\t"
_SPACE = ord(" ")
_FIRST_BEYOND_ASCII = 0x80


class Chunk(NamedTuple):
    """What a stretch of a file gave.

    Parameters
    ----------
    columns : its points.
    gaps : what lies between its points and is more than plain text, in its order.
    tail : what lies after its last point, if that is more than plain text.
    levels : how deep elements lie within each other, 1 for points without children.
    """

    columns: PointColumns
    gaps: list[bytes]
    tail: bytes
    levels: int


class _Runs(NamedTuple):
    """Numbers of the (n,) points' first and last tags; the same if the point is empty."""

    first: IntArray
    last: IntArray


def read_chunk(stretch: memoryview, point: bytes, known: list[Kind]) -> Chunk:
    """Read a stretch that begins with a track point.

    Parameters
    ----------
    stretch : the bytes.
    point : name of a track point, with its prefix.
    known : the kinds of tag met so far; new ones are added.

    Raises
    ------
    UnusualError
        If it is not surely well-formed, or holds what only the slow reader can read.
    """
    data = b"".join((stretch, PADDING))
    tags = find_tags(data, known)
    runs = _points_of(tags, known, point)
    more = _gaps_with_more(data, tags, runs)
    starts = tags.closes[runs.last] + 1
    ends = np.append(tags.opens[runs.first[1:]], len(stretch))
    gaps = [data[starts[gap] : ends[gap]] for gap in np.flatnonzero(more[:-1])]
    tail = data[starts[-1] : ends[-1]] if more[-1] else b""
    if (within := _within_points(tags, runs)) is not None:
        tags = tags.at(within)
        runs = _points_of(tags, known, point)
    level = check_nesting(tags, known)
    _check_attributes(data, tags, known, point)
    columns = _columns(data, tags, runs, _fields(tags, known, level))
    return Chunk(columns, gaps, tail, int(level.max()))


def _points_of(tags: Tags, known: list[Kind], point: bytes) -> _Runs:
    """Find the points of a stretch that begins with one."""
    is_point = tags.of([n for n, kind in enumerate(known) if kind.name == point])
    first = np.flatnonzero(is_point & ~tags.is_end)
    last = np.flatnonzero(is_point & (tags.is_end | tags.is_empty))
    if len(first) != len(last) or not len(first) or tags.opens[first[0]] != 0:
        raise UnusualError
    if (last < first).any() or (first[1:] <= last[:-1]).any():
        raise UnusualError
    return _Runs(first, last)


def _gaps_with_more(data: bytes, tags: Tags, runs: _Runs) -> BoolArray:
    """(n,) after which points there is more than plain text."""
    more = np.append(runs.first[1:], len(tags)) > runs.last + 1
    odd = _odd_bytes(data)
    if len(odd):
        after = np.searchsorted(tags.opens[runs.first], odd, side="right") - 1
        if (odd <= tags.closes[runs.last[after]]).any():
            raise UnusualError  # within a point
        more[after] = True
    return more


def _odd_bytes(data: bytes) -> IntArray:
    """Where bytes stand that are no character on their own, or begin an entity."""
    codes = np.frombuffer(data, dtype=np.uint8)[: -len(PADDING)]
    controls = int(np.count_nonzero(codes < _SPACE))
    white = 0
    for code in _WHITE:
        white += int(np.count_nonzero(codes == code)) if white < controls else 0
    if white == controls and codes.max() < _FIRST_BEYOND_ASCII and b"&" not in data:
        return np.zeros(0, dtype=np.intp)
    allowed = np.isin(codes, np.frombuffer(_WHITE, dtype=np.uint8))
    odd = ((codes < _SPACE) & ~allowed) | (codes >= _FIRST_BEYOND_ASCII) | (codes == ord("&"))
    return np.flatnonzero(odd)


def _within_points(tags: Tags, runs: _Runs) -> BoolArray | None:
    """(n,) which tags are a point's or lie within one; None if all do."""
    if len(tags) == (runs.last - runs.first + 1).sum():
        within = None
    else:
        change = np.zeros(len(tags) + 1, dtype=np.int8)
        change[runs.first] += 1
        change[runs.last + 1] -= 1
        within = np.cumsum(change[:-1], dtype=np.int8) > 0
    nameless = tags.kinds < 0
    if nameless.any() and (within is None or nameless[within].any()):
        raise UnusualError  # a comment, CDATA or an instruction within a point
    return within


def _check_attributes(data: bytes, tags: Tags, known: list[Kind], point: bytes) -> None:
    """See that tags other than a point's have well-formed attributes, if they have any."""
    numbers = [n for n, kind in enumerate(known) if kind.is_open and kind.name != point]
    which = np.flatnonzero(tags.of(numbers))
    if len(which):
        tags_of_few_kinds = Texts(data, tags.opens[which], tags.closes[which] + 1)
        attributes_of(sorted(set(map(tags_of_few_kinds.piece, range(len(which))))))


def _fields(tags: Tags, known: list[Kind], level: Levels) -> dict[str, IntArray]:
    """Numbers of the start tags whose text belongs to a column."""
    kinds: dict[str, list[int]] = {}
    for number, kind in enumerate(known):
        local_name = kind.name.rpartition(b":")[2].decode("ascii")
        column = column_of(local_name, is_child=True)
        if column is not None:
            kinds.setdefault(column, []).append(number)
    found = {}
    for column, numbers in kinds.items():
        which = np.flatnonzero(tags.of(numbers) & ~tags.is_end)
        if column in CHILDREN.values():
            which = which[level[which] == _CHILD_LEVEL]
        if not (tags.is_empty[which] | tags.is_end[which + 1]).all():
            raise UnusualError  # an element within a value
        found[column] = which
    return found


def _columns(data: bytes, tags: Tags, runs: _Runs, fields: dict[str, IntArray]) -> PointColumns:
    """Read the points' columns, given the start tags of their texts."""
    start_tags = Texts(data, tags.opens[runs.first], tags.closes[runs.first] + 1)
    latitude, longitude = read_positions(start_tags)
    values = {"latitude_deg": latitude, "longitude_deg": longitude}
    unix_ns = np.full(len(latitude), NO_TIME, dtype=np.int64)
    zoneless = np.zeros(len(latitude), dtype=bool)
    for column, which in fields.items():
        point, which = _one_for_each(runs, which)
        starts = tags.closes[which] + 1
        texts = Texts(data, starts, np.where(tags.is_empty[which], starts, tags.opens[which + 1]))
        if column == CHILDREN["time"]:
            unix_ns[point], zoneless[point] = read_moments(texts)
        else:
            values[column] = np.full(len(latitude), np.nan)
            values[column][point] = read_decimals(texts)
    return PointColumns(unix_ns, values, zoneless)


def _one_for_each(runs: _Runs, which: IntArray) -> tuple[IntArray, IntArray]:
    """Numbers of points and of the first of some tags within each, where there is one."""
    everywhere = np.arange(len(runs.first))
    if len(which) == len(everywhere) and ((runs.first < which) & (which < runs.last)).all():
        return everywhere, which
    point = np.searchsorted(runs.first, which) - 1
    is_first = np.diff(point, prepend=-1) > 0
    return point[is_first], which[is_first]
