"""What is read of a FIT file, by whichever way; and how its times are to be understood.

- A timestamp counts whole seconds from the FIT epoch, 1989-12-31T00:00:00Z; leap seconds are not
  counted.
- A message with a compressed header gives the low five bits of its time: the next second with
  these bits, counted from the last timestamp of any message before it (FIT protocol, "compressed
  timestamp header"). A timestamp in the message itself goes before it.
- Below 0x10000000 a timestamp counts from when the device was switched on. Such times are dropped
  from a track that has real ones too, and kept where there are no others.
- Local timestamps are ignored: they are wall-clock times without a zone.
- A timestamp that is invalid or beyond the year 2116 is missing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum, auto
from typing import NoReturn

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.ingest.fit_profile import (
    DEGREES_PER_SEMICIRCLE,
    EPOCH_UNIX_S,
    SYSTEM_TIME_LIMIT_S,
)
from wherewatt.ingest.points import NO_TIME, NS_LIMIT, Nanoseconds, PointColumns
from wherewatt.ingest.source import Source, refuse
from wherewatt.ingest.track import QUANTITIES, Mark, Note

# A ride has some dozens, one with many traffic lights some thousands.
MAX_MARKS = 100_000

# Developers need a few fields. Without a limit, a file could name a new one in every record.
MAX_DEVELOPER_FIELDS = 32

_NS_PER_S = 1_000_000_000
_SYSTEM_TIME_LIMIT_NS = (EPOCH_UNIX_S + SYSTEM_TIME_LIMIT_S) * _NS_PER_S
# The last second that fits, counted from the FIT epoch; the first one fits as well, negated.
_LAST_S = (NS_LIMIT - 1) // _NS_PER_S - EPOCH_UNIX_S


class End(Enum):
    """How the reading of a file came to its end."""

    WHOLE = auto()
    CUT_SHORT = auto()
    TRAILING_BYTES = auto()
    DAMAGED = auto()


@dataclass(frozen=True, slots=True)
class Condition:
    """How well a file is.

    Parameters
    ----------
    parts : FIT files that are chained in it.
    checksums_wrong : how many of them have a wrong checksum.
    end : why the reading ended.
    end_byte : end of the last sound message or header.
    """

    parts: int
    checksums_wrong: int
    end: End
    end_byte: int


@dataclass(frozen=True, slots=True, eq=False)
class Contents:
    """What was read of a file.

    Parameters
    ----------
    points : its records.
    marks : laps, sessions, starts and stops, in the order of the file.
    kinds : each type that the file says it is, once; None for one that is no number.
    developer_fields_left_out : further fields beyond `MAX_DEVELOPER_FIELDS`.
    condition : how well the file is.
    """

    points: PointColumns
    marks: tuple[Mark, ...]
    kinds: tuple[int | None, ...]
    developer_fields_left_out: int
    condition: Condition


def refuse_marks(source: Source) -> NoReturn:
    """End the reading of a file with absurdly many laps, starts and stops.

    Raises
    ------
    TrackError
        Always.
    """
    refuse(source.path, f"more than {MAX_MARKS:,} laps, starts and stops", "a recorded ride")


def unix_ns_of(seconds: Nanoseconds) -> Nanoseconds:
    """UTC [ns since 1970] of timestamps [s since the FIT epoch]; `NO_TIME` stays."""
    known = np.abs(seconds) <= _LAST_S  # the absolute value of NO_TIME is NO_TIME: negative
    known &= seconds != NO_TIME
    return np.where(known, (np.where(known, seconds, 0) + EPOCH_UNIX_S) * _NS_PER_S, NO_TIME)


def seconds_of(timestamp: float | None) -> int:
    """Whole seconds of a timestamp as it stands in a file; `NO_TIME` if it is none."""
    if timestamp is None or not abs(timestamp) <= _LAST_S:
        return NO_TIME
    return int(timestamp)


def columns_from(
    seconds: Nanoseconds,
    readings: Mapping[str, FloatArray],
    developer: Mapping[str, FloatArray],
) -> PointColumns:
    """Turn what stands in records into columns of points.

    Parameters
    ----------
    seconds : (n,) timestamps [s since the FIT epoch]; `NO_TIME` where there is none.
    readings : (n,) arrays by name of `fit_profile.READINGS`, and the speed that stands packed in
        one field with the distance, which gives way to any other.
    developer : (n,) further fields by name; those without any number are left out.
    """
    values = {name: array for name, array in readings.items() if name in QUANTITIES}
    for axis in ("latitude", "longitude"):
        if (semicircles := readings.get(f"{axis}_semicircles")) is not None:
            values[f"{axis}_deg"] = semicircles * DEGREES_PER_SEMICIRCLE
    packed = readings.get("packed_speed_m_s")
    if packed is not None:
        speed = values.get("speed_m_s", packed)
        values["speed_m_s"] = np.where(np.isnan(speed), packed, speed)
    fraction = readings.get("fractional_cadence_rpm")
    if fraction is not None and "cadence_rpm" in values:
        values["cadence_rpm"] = values["cadence_rpm"] + np.where(
            np.isfinite(fraction), fraction, 0.0
        )
    return PointColumns(
        unix_ns=unix_ns_of(seconds),
        values=values,
        zoneless=np.zeros(len(seconds), dtype=bool),
        developer={n: array for n, array in developer.items() if not np.isnan(array).all()},
    )


def without_system_times(contents: Contents) -> tuple[Contents, list[Note]]:
    """Drop times from before the device knew the time; keep them if there are no others.

    Intervals of system time are good, only its date is not; but mixed with real times it would
    put decades between two points.
    """
    times = contents.points.unix_ns
    timed = times != NO_TIME
    system = timed & (times < _SYSTEM_TIME_LIMIT_NS)
    count = int(system.sum())
    if 0 < count == int(timed.sum()):
        message = "the device's clock was not set: intervals are right, date and time of day wrong"
        return contents, [Note("clock-not-set", message)]
    marks = tuple(
        Mark(mark.kind, _real_time(mark.unix_ns), _real_time(mark.started_unix_ns))
        for mark in contents.marks
    )
    contents = replace(contents, marks=marks)
    if count == 0:
        return contents, []
    points = replace(contents.points, unix_ns=np.where(system, NO_TIME, times))
    message = f"{count} of {len(points)} points are from before the clock was set: time dropped"
    return replace(contents, points=points), [Note("clock-not-set", message)]


def _real_time(unix_ns: int | None) -> int | None:
    return None if unix_ns is None or unix_ns < _SYSTEM_TIME_LIMIT_NS else unix_ns
