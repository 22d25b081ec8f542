"""Reading FIT activities."""

from __future__ import annotations

import io
import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import fitdecode
from fitdecode import FitCRC, FitDataMessage, FitHeader, FitReader

from wherewatt.ingest.points import RawPoint, columns_of, make_track
from wherewatt.ingest.source import (
    Format,
    Source,
    format_of,
    read_source,
    refuse,
    refuse_unknown_format,
)
from wherewatt.ingest.track import Note, Track

EXPECTED = "an activity with records"

FIT_EPOCH_UNIX_S = 631_065_600  # 1989-12-31T00:00:00Z
# Below this a timestamp counts from when the device was switched on (FIT profile, date_time).
SYSTEM_TIME_LIMIT_S = 0x10000000
DEGREES_PER_SEMICIRCLE = 180.0 / 2**31

_NS_PER_S = 1_000_000_000
_SYSTEM_TIME_LIMIT_NS = (FIT_EPOCH_UNIX_S + SYSTEM_TIME_LIMIT_S) * _NS_PER_S
_CHECKSUM_BYTES = 2
_FIELDS = frozenset(
    {
        "timestamp",
        "position_lat",
        "position_long",
        "altitude",
        "enhanced_altitude",
        "speed",
        "enhanced_speed",
        "distance",
        "power",
    }
)


@dataclass(slots=True)
class _Contents:
    """What was read of a file, up to the end of its last sound message at `end_byte`."""

    points: list[RawPoint] = field(default_factory=list)
    kinds: list[str] = field(default_factory=list)
    parts: int = 0
    checksums_wrong: int = 0
    error: Exception | None = None
    end_byte: int = 0


def read_fit(path: Path | str) -> Track:
    """Read the records of all activities that are chained in a FIT file, in order.

    What can be read of a damaged file is kept, and the damage noted. Records without a
    position stay, with NaN.

    Parameters
    ----------
    path : a .fit or .fit.gz file.

    Raises
    ------
    TrackError
        If the file cannot be read, is no FIT, or holds no records.
    """
    source = read_source(Path(path))
    if format_of(source.data) is not Format.FIT:
        refuse_unknown_format(source, f"a FIT file: {EXPECTED}")
    return parse_fit(source)


def parse_fit(source: Source) -> Track:
    """Read a FIT file that is in memory; see `read_fit`.

    Raises
    ------
    TrackError
        If it holds no records.
    """
    data, was_open = _close_file(source.data)
    contents = _read(data)
    if not contents.points:
        _refuse_empty(source, contents)
    notes = _notes(contents)
    if was_open:
        notes.append(
            Note("file-not-closed", "the header gives no data size: the recording was never ended")
        )
    points, time_notes = _without_system_times(contents.points)
    return make_track(source, columns_of(points), [*notes, *time_notes])


def _close_file(data: bytes) -> tuple[bytes, bool]:
    """Give a file whose recording was never ended the data size that it has.

    Devices write the size into the header at the end of the recording; until then it is zero.
    """
    header_bytes, data_bytes = data[0], struct.unpack_from("<I", data, 4)[0]
    present_bytes = len(data) - header_bytes
    if data_bytes != 0 or present_bytes <= _CHECKSUM_BYTES:
        return data, False
    return data[:4] + struct.pack("<I", present_bytes) + data[8:], True


def _read(data: bytes) -> _Contents:
    """Read the records of a file, as far as it can be read."""
    contents = _Contents()
    stream = io.BytesIO(data)
    try:
        with FitReader(
            stream,
            processor=None,  # plain numbers: no date objects, no units to undo
            check_crc=fitdecode.CrcCheck.READONLY,
            error_handling=fitdecode.ErrorHandling.IGNORE,
        ) as reader:
            for frame in reader:
                _take(frame, contents)
                contents.end_byte = stream.tell()
    except Exception as error:  # damaged bytes end fitdecode by assertions, KeyErrors and others
        contents.error = error
    return contents


def _take(frame: object, contents: _Contents) -> None:
    """Take what is of use from one frame."""
    if isinstance(frame, FitDataMessage):
        if frame.name == "record":
            contents.points.append(_raw_point(frame))
        elif frame.name == "file_id":
            contents.kinds.append(str(frame.get_value("type", fallback=None)))
    elif isinstance(frame, FitHeader):
        contents.parts += 1
    elif isinstance(frame, FitCRC) and not frame.matched:
        contents.checksums_wrong += 1


def _raw_point(message: FitDataMessage) -> RawPoint:
    values: dict[str, float] = {}
    for item in message.fields:
        # a developer's field may bear a standard name and mean something else
        by_developer = item.field_def is not None and item.field_def.is_dev
        if not by_developer and item.name in _FIELDS and isinstance(item.value, int | float):
            values.setdefault(item.name, item.value)
    timestamp_s = values.get("timestamp")
    return RawPoint(
        unix_ns=None if timestamp_s is None else _unix_ns(timestamp_s),
        latitude_deg=values.get("position_lat", math.nan) * DEGREES_PER_SEMICIRCLE,
        longitude_deg=values.get("position_long", math.nan) * DEGREES_PER_SEMICIRCLE,
        elevation_m=values.get("enhanced_altitude", values.get("altitude", math.nan)),
        speed_m_s=values.get("enhanced_speed", values.get("speed", math.nan)),
        odometer_m=values.get("distance", math.nan),
        rider_w=values.get("power", math.nan),
    )


def _unix_ns(timestamp_s: float) -> int:
    return (FIT_EPOCH_UNIX_S + int(timestamp_s)) * _NS_PER_S


def _without_system_times(points: list[RawPoint]) -> tuple[Sequence[RawPoint], list[Note]]:
    """Drop times from before the device knew the time; keep them if there are no others.

    Intervals of system time are good, only its date is not; but mixed with real times it would
    put decades between two points.
    """
    system = [p.unix_ns is not None and p.unix_ns < _SYSTEM_TIME_LIMIT_NS for p in points]
    count = sum(system)
    if count == 0:
        return points, []
    if count == sum(point.unix_ns is not None for point in points):
        message = "the device's clock was not set: intervals are right, date and time of day wrong"
        return points, [Note("clock-not-set", message)]
    message = f"{count} of {len(points)} points are from before the clock was set: time dropped"
    kept = [
        point._replace(unix_ns=None) if drop else point
        for point, drop in zip(points, system, strict=True)
    ]
    return kept, [Note("clock-not-set", message)]


def _notes(contents: _Contents) -> list[Note]:
    """Say what was odd about the file itself."""
    notes = []
    saved = f"{len(contents.points)} records saved"
    if contents.checksums_wrong:
        message = f"{contents.checksums_wrong} of {contents.parts} checksums do not match"
        notes.append(Note("checksum-wrong", message))
    if isinstance(contents.error, fitdecode.FitHeaderError):
        message = f"what follows byte {contents.end_byte} is no FIT data: {saved}"
        notes.append(Note("trailing-bytes", message))
    elif isinstance(contents.error, fitdecode.FitEOFError):
        message = f"the file breaks off after byte {contents.end_byte}: {saved}"
        notes.append(Note("file-cut-short", message))
    elif contents.error is not None:
        message = f"the file cannot be read beyond byte {contents.end_byte}: {saved}"
        notes.append(Note("file-damaged", message))
    if set(contents.kinds) == {"course"}:
        message = "the file calls itself a course: its times may be planned, not ridden"
        notes.append(Note("planned-course", message))
    return notes


def _refuse_empty(source: Source, contents: _Contents) -> None:
    """End the reading of a file without records, by saying what it is."""
    place = f"byte {contents.end_byte}" if contents.error is not None else ""
    if contents.error is not None:
        found = "FIT data that are damaged or end there, before any record"
    elif contents.kinds:
        found = f"a FIT file of type {' and '.join(dict.fromkeys(contents.kinds))} without records"
    else:
        found = "a FIT file without records"
    refuse(source.path, found, EXPECTED, place=place)
