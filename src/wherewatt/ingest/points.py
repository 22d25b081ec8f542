"""From points as a reader finds them to a `Track`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.ingest.source import Source
from wherewatt.ingest.track import Note, Track

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NS_LIMIT = 1 << 63  # a time must fit the 64-bit nanoseconds that numpy and pandas use


class RawPoint(NamedTuple):
    """One point of a file; NaN, or None for the time, means "not recorded".

    `zoned` is False for a time that came without a zone and was taken as UTC.
    """

    unix_ns: int | None
    latitude_deg: float
    longitude_deg: float
    elevation_m: float = math.nan
    speed_m_s: float = math.nan
    odometer_m: float = math.nan
    rider_w: float = math.nan
    zoned: bool = True


def to_unix_ns(moment: datetime | None) -> int | None:
    """UTC of a moment [ns since 1970]; one without a zone is taken as UTC, None stays None."""
    if moment is None:
        return None
    try:
        zoned = moment if moment.utcoffset() is not None else moment.replace(tzinfo=UTC)
        unix_ns = (zoned - _EPOCH) // timedelta(microseconds=1) * 1000
    except (ValueError, OverflowError):  # an offset of a day or more
        return None
    return unix_ns if abs(unix_ns) < _NS_LIMIT else None


def to_float(text: str | None) -> float:
    """Convert a text to a number; NaN if it is none."""
    try:
        return float(text) if text is not None else math.nan
    except ValueError:
        return math.nan


def make_track(source: Source, points: Sequence[RawPoint], notes: Iterable[Note]) -> Track:
    """Build a track from points, noting what is missing from them.

    Positions outside ±90° and ±180°, or half missing, become NaN.
    """
    latitude_deg = np.array([point.latitude_deg for point in points], dtype=np.float64)
    longitude_deg = np.array([point.longitude_deg for point in points], dtype=np.float64)
    missing = np.isnan(latitude_deg) | np.isnan(longitude_deg)
    illegal = ~missing & ~((np.abs(latitude_deg) <= 90.0) & (np.abs(longitude_deg) <= 180.0))
    latitude_deg[missing | illegal] = np.nan
    longitude_deg[missing | illegal] = np.nan
    start_unix_ns, time_s = _times(points)
    untimed = np.isnan(time_s)
    zoneless = np.array([not point.zoned for point in points], dtype=bool)
    total = len(points)
    counted = (
        _counted("position-missing", missing, total, "have no position"),
        _counted("position-illegal", illegal, total, "lie outside ±90° or ±180°: position dropped"),
        _counted("time-missing", untimed, total, "have no readable time"),
        _counted("time-without-zone", zoneless, total, "have a time without zone: taken as UTC"),
    )
    return Track(
        source=source.path,
        sha256=source.sha256,
        start_unix_ns=start_unix_ns,
        time_s=time_s,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=_finite(point.elevation_m for point in points),
        speed_m_s=_finite(point.speed_m_s for point in points),
        odometer_m=_finite(point.odometer_m for point in points),
        rider_w=_finite(point.rider_w for point in points),
        notes=(*source.notes, *notes, *(note for note in counted if note is not None)),
    )


def _times(points: Sequence[RawPoint]) -> tuple[int | None, FloatArray]:
    """UTC of the first timed point [ns since 1970], and times since then [s]."""
    start = next((point.unix_ns for point in points if point.unix_ns is not None), None)
    if start is None:
        return None, np.full(len(points), np.nan)
    # the difference is taken in whole nanoseconds: as floats they would lose a tenth of a µs
    seconds = [
        math.nan if point.unix_ns is None else (point.unix_ns - start) / 1e9 for point in points
    ]
    return start, np.array(seconds, dtype=np.float64)


def _finite(values: Iterable[float]) -> FloatArray:
    array = np.array(list(values), dtype=np.float64)
    array[~np.isfinite(array)] = np.nan
    return array


def _counted(code: str, which: BoolArray, total: int, what: str) -> Note | None:
    count = int(which.sum())
    return Note(code, f"{count} of {total} points {what}") if count else None
