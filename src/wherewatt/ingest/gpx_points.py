"""The track points of one stretch of a GPX file, all at once; see `wherewatt.ingest.gpx_scan`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wherewatt.arrays import BoolArray, IntArray
from wherewatt.ingest.gpx_fields import CHILDREN, column_of
from wherewatt.ingest.gpx_positions import read_positions
from wherewatt.ingest.gpx_tags import (
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
_TAB, _LINE_FEED, _RETURN, _SPACE, _AMPERSAND = b"\t\n\r &"
_FIRST_BEYOND_ASCII = 0x80
_BLOCK_BYTES = 1 << 16


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


class Stretch(NamedTuple):
    """A part of a file that begins with a track point.

    Parameters
    ----------
    data : its bytes, and `BEYOND` more.
    size : how many bytes are its own.
    is_plain : whether all are known to be ASCII and none begins an entity.
    """

    data: memoryview
    size: int
    is_plain: bool


def read_chunk(stretch: Stretch, point: bytes, known: list[Kind]) -> Chunk:
    """Read a stretch.

    Parameters
    ----------
    stretch : a part of a file.
    point : name of a track point, with its prefix.
    known : the kinds of tag met so far; new ones are added.

    Raises
    ------
    UnusualError
        If it is not surely well-formed, or holds what only the slow reader can read.
    """
    data, size, _ = stretch
    tags = find_tags(data, size, known)
    runs = _points_of(tags, known, point)
    more = _gaps_with_more(stretch, tags, runs)
    starts = tags.closes[runs.last] + 1
    ends = np.append(tags.opens[runs.first[1:]], size)
    gaps = [bytes(data[starts[gap] : ends[gap]]) for gap in np.flatnonzero(more[:-1])]
    tail = bytes(data[starts[-1] : ends[-1]]) if more[-1] else b""
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


def _gaps_with_more(stretch: Stretch, tags: Tags, runs: _Runs) -> BoolArray:
    """(n,) after which points there is more than plain text."""
    more = np.append(runs.first[1:], len(tags)) > runs.last + 1
    odd = _odd_bytes(stretch)
    if len(odd):
        after = np.searchsorted(tags.opens[runs.first], odd, side="right") - 1
        if (odd <= tags.closes[runs.last[after]]).any():
            raise UnusualError  # within a point
        more[after] = True
    return more


def _odd_bytes(stretch: Stretch) -> IntArray:
    """Where bytes stand that are no character on their own, or begin an entity."""
    codes = np.frombuffer(stretch.data, dtype=np.uint8)[: stretch.size]
    found = [np.zeros(0, dtype=np.intp)]
    for start in range(0, len(codes), _BLOCK_BYTES):  # blocks stay in the processor's cache
        block = codes[start : start + _BLOCK_BYTES]
        odd = (block < _SPACE) ^ (block == _LINE_FEED)
        if odd.any():
            odd &= (block != _TAB) & (block != _RETURN)
        if not stretch.is_plain:
            odd |= (block >= _FIRST_BEYOND_ASCII) | (block == _AMPERSAND)
        if odd.any():
            found.append(np.flatnonzero(odd) + start)
    return np.concatenate(found)


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


def _check_attributes(data: memoryview, tags: Tags, known: list[Kind], point: bytes) -> None:
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
        if column is not None and not kind.is_end:
            kinds.setdefault(column, []).append(number)
    found = {}
    for column, numbers in kinds.items():
        which = np.flatnonzero(tags.of(numbers))
        if column in CHILDREN.values():
            which = which[level[which] == _CHILD_LEVEL]
        if not (tags.is_empty[which] | tags.is_end[which + 1]).all():
            raise UnusualError  # an element within a value
        found[column] = which
    return found


def _columns(
    data: memoryview, tags: Tags, runs: _Runs, fields: dict[str, IntArray]
) -> PointColumns:
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
