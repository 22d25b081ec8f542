"""From points as a reader finds them to a `Track`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.ingest.source import Source, refuse_beyond
from wherewatt.ingest.track import QUANTITIES, Mark, Note, Track

Nanoseconds = npt.NDArray[np.int64]

NO_TIME = np.iinfo(np.int64).min  # stands for "no time" where times are whole nanoseconds

# Times within 146 years of 1970: the difference of any two then fits 64-bit nanoseconds.
NS_LIMIT = 1 << 62


@dataclass(frozen=True, slots=True, eq=False)
class PointColumns:
    """The points of a file, column by column; what a fast reader makes at once.

    Parameters
    ----------
    unix_ns : (n,) UTC [ns since 1970]; `NO_TIME` where there is none.
    values : (n,) arrays by name of `QUANTITIES`; a name that is missing was not recorded.
    zoneless : (n,) True where a time came without a zone and was taken as UTC.
    developer : (n,) further fields by name.
    """

    unix_ns: Nanoseconds
    values: Mapping[str, FloatArray]
    zoneless: BoolArray
    developer: Mapping[str, FloatArray] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.unix_ns)


def to_float(text: str | None) -> float:
    """Convert a text to a number; NaN if it is none."""
    try:
        return float(text) if text is not None else math.nan
    except ValueError:
        return math.nan


def make_track(
    source: Source, points: PointColumns, notes: Iterable[Note], marks: Sequence[Mark] = ()
) -> Track:
    """Build a track from points, noting what is missing from them.

    Positions outside ±90° and ±180°, or half missing, become NaN.

    Raises
    ------
    TrackError
        If there are more points than the limits allow.
    """
    if len(points) > source.limits.max_points:
        refuse_beyond(source.path, "max_points", source.limits.max_points, "points")
    values = {name: _finite(points.values.get(name), len(points)) for name in QUANTITIES}
    given = points.values
    latitude, longitude = values["latitude_deg"], values["longitude_deg"]
    missing = _no_number(given.get("latitude_deg"), len(points))
    missing |= _no_number(given.get("longitude_deg"), len(points))
    legal = _within(latitude, 90.0) & _within(longitude, 180.0)
    if not legal.all():
        values["latitude_deg"] = np.where(legal, latitude, np.nan)
        values["longitude_deg"] = np.where(legal, longitude, np.nan)
    start_unix_ns, time_s = _times(points.unix_ns)
    total = len(points)
    illegal = ~missing & ~legal
    counted = (
        _counted("position-missing", missing, total, "have no position"),
        _counted("position-illegal", illegal, total, "lie outside ±90° or ±180°: position dropped"),
        _counted("time-missing", np.isnan(time_s), total, "have no readable time"),
        _counted(
            "time-without-zone", points.zoneless, total, "have a time without zone: taken as UTC"
        ),
    )
    return Track(
        source=source.path,
        sha256=source.sha256,
        start_unix_ns=start_unix_ns,
        time_s=time_s,
        **values,
        developer=points.developer,
        marks=tuple(marks),
        notes=(*source.notes, *notes, *(note for note in counted if note is not None)),
    )


def _times(unix_ns: Nanoseconds) -> tuple[int | None, FloatArray]:
    """UTC of the first timed point [ns since 1970], and times since then [s]."""
    timed = unix_ns != NO_TIME
    if not timed.any():
        return None, np.full(len(unix_ns), np.nan)
    start = int(unix_ns[np.argmax(timed)])
    # the difference is taken in whole nanoseconds: as floats they would lose a tenth of a µs
    seconds = np.empty(len(unix_ns))
    np.subtract(unix_ns, start, out=seconds)  # in whole numbers, without a copy of them
    seconds /= 1e9
    if not timed.all():
        seconds[~timed] = np.nan
    return start, seconds


def _within(values: FloatArray, limit: float) -> BoolArray:
    return (values >= -limit) & (values <= limit)


def _finite(values: FloatArray | None, count: int) -> FloatArray:
    """(count,) values in which what is no finite number is NaN.

    A column that was not recorded is one NaN seen `count` times: it takes no memory.
    """
    if values is None:
        return np.broadcast_to(np.nan, count)
    finite = np.isfinite(values)
    return values if finite.all() else np.where(finite, values, np.nan)


def _no_number(values: FloatArray | None, count: int) -> BoolArray:
    return np.ones(count, dtype=bool) if values is None else np.isnan(values)


def _counted(code: str, which: BoolArray, total: int, what: str) -> Note | None:
    count = int(which.sum())
    return Note(code, f"{count} of {total} points {what}") if count else None
