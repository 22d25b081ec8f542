"""Reading a FIT file message by message, with fitdecode: slow, for what is not read at once."""

from __future__ import annotations

import io
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import fitdecode
import numpy as np
from fitdecode import FitCRC, FitDataMessage, FitDefinitionMessage, FitHeader, FitReader

from wherewatt.ingest.fit_contents import (
    MAX_DEVELOPER_FIELDS,
    MAX_MARKS,
    Condition,
    Contents,
    End,
    columns_from,
    refuse_marks,
    seconds_of,
    unix_ns_of,
)
from wherewatt.ingest.fit_profile import (
    BYTE_TYPE,
    EVENT,
    EVENT_TYPE,
    FILE_ID_TYPE,
    NUMBER_TYPES,
    START_TIME,
    TEXT_TYPE,
    TIMER,
    TIMER_STARTS,
    TIMER_STOPS,
    UINT8,
    DescriptionField,
    Message,
)
from wherewatt.ingest.points import NO_TIME
from wherewatt.ingest.source import Source, refuse, refuse_beyond
from wherewatt.ingest.track import Mark, MarkKind

# Ten seconds' work, a minute's for the smallest messages; more than a day of any device known.
MAX_BYTES = 1 << 22

# fitdecode's name of a field of a record, and ours of what it says
_READINGS = {
    "position_lat": "latitude_semicircles",
    "position_long": "longitude_semicircles",
    "enhanced_altitude": "elevation_m",  # fitdecode makes it of altitude too
    "enhanced_speed": "speed_m_s",  # likewise of speed, if that is a field of its own
    "speed": "packed_speed_m_s",
    "distance": "odometer_m",
    "power": "rider_w",
    "cadence": "cadence_rpm",
    "fractional_cadence": "fractional_cadence_rpm",
    "temperature": "temperature_c",
}


@dataclass(slots=True)
class _Found:
    """What was read so far; `end_byte` is the end of the last sound message."""

    seconds: array[int] = field(default_factory=lambda: array("q"))
    readings: dict[str, array[float]] = field(
        default_factory=lambda: {name: array("d") for name in _READINGS.values()}
    )
    # by name of the field and number of the point
    developer: dict[str, dict[int, float]] = field(default_factory=dict)
    left_out: set[str] = field(default_factory=set)
    marks: list[Mark] = field(default_factory=list)
    kinds: dict[int | None, None] = field(default_factory=dict)
    parts: int = 0
    checksums_wrong: int = 0
    end_byte: int = 0


def read_stepwise(source: Source) -> Contents:
    """Read a FIT file, as far as fitdecode can.

    Raises
    ------
    TrackError
        If there are more points or bytes than the limits allow.
    """
    if len(source.data) > MAX_BYTES:
        kind = f"fields of unusual types in more than {MAX_BYTES:,} bytes"
        refuse(source.path, kind, "an activity with fields of the usual types")
    found, most, end = _Found(), source.limits.max_points, End.WHOLE
    stream = io.BytesIO(source.data)
    try:
        with FitReader(
            stream,
            processor=None,  # plain numbers: no date objects, no units to undo
            check_crc=fitdecode.CrcCheck.READONLY,
            error_handling=fitdecode.ErrorHandling.IGNORE,
        ) as reader:
            for frame in reader:
                _take(frame, reader, found)
                found.end_byte = stream.tell()
                if len(found.seconds) > most or len(found.marks) > MAX_MARKS:
                    break
    except Exception as error:  # damaged bytes end fitdecode by assertions, KeyErrors and others
        end = _end_of(error)
    if len(found.seconds) > most:
        refuse_beyond(source.path, "max_points", most, "points")
    if len(found.marks) > MAX_MARKS:
        refuse_marks(source)
    return _contents(found, end)


def _end_of(error: Exception) -> End:
    match error:
        case fitdecode.FitHeaderError():
            return End.TRAILING_BYTES
        case fitdecode.FitEOFError():
            return End.CUT_SHORT
        case _:
            return End.DAMAGED


def _contents(found: _Found, end: End) -> Contents:
    total = len(found.seconds)
    developer = {name: np.full(total, np.nan) for name in found.developer}
    for name, values in found.developer.items():
        developer[name][list(values)] = list(values.values())
    points = columns_from(
        np.array(found.seconds, dtype=np.int64),
        {name: np.array(values) for name, values in found.readings.items()},
        developer,
    )
    return Contents(
        points=points,
        marks=tuple(found.marks),
        kinds=tuple(found.kinds),
        developer_fields_left_out=len(found.left_out),
        condition=Condition(found.parts, found.checksums_wrong, end, found.end_byte),
    )


def _take(frame: object, reader: FitReader, found: _Found) -> None:
    """Take what is of use from one frame."""
    match frame:
        case FitDataMessage():
            _take_message(frame, reader, found)
        case FitDefinitionMessage():
            # fitdecode would read less than such fields hold, and lose its place
            if any(each.size % each.base_type.size for each in frame.dev_field_defs):
                raise fitdecode.FitParseError(found.end_byte, "size of a developer's field")
        case FitHeader():
            found.parts += 1
        case FitCRC():
            found.checksums_wrong += not frame.matched


def _take_message(message: FitDataMessage, reader: FitReader, found: _Found) -> None:
    match message.global_mesg_num:
        case Message.RECORD:
            _take_record(message, found)
        case Message.LAP:
            found.marks.append(_mark(MarkKind.LAP, message, _first_raw(message, START_TIME)))
        case Message.SESSION:
            found.marks.append(_mark(MarkKind.SESSION, message, _first_raw(message, START_TIME)))
        case Message.EVENT if _first_raw(message, EVENT) == TIMER:
            event_type = _first_raw(message, EVENT_TYPE)
            if event_type in TIMER_STARTS:
                found.marks.append(_mark(MarkKind.START, message))
            elif event_type in TIMER_STOPS:
                found.marks.append(_mark(MarkKind.STOP, message))
        case Message.FILE_ID:
            found.kinds.setdefault(_file_type(message))
        case Message.FIELD_DESCRIPTION:
            _complete_description(message, reader)


def _take_record(message: FitDataMessage, found: _Found) -> None:
    values: dict[str, float] = {}
    for item in message.fields:
        # a developer's field may bear a standard name and mean something else
        if item.field_def is not None and item.field_def.is_dev:
            _take_developer_field(item, len(found.seconds), found)
        elif isinstance(item.value, int | float):
            values.setdefault(item.name, item.value)
    found.seconds.append(seconds_of(values.get("timestamp")))
    for name, ours in _READINGS.items():
        found.readings[ours].append(values.get(name, np.nan))


def _take_developer_field(item: Any, point: int, found: _Found) -> None:
    """Take the number in a developer's field, the first one of an array."""
    name = item.name
    if not isinstance(name, str) or item.base_type.identifier in (TEXT_TYPE, BYTE_TYPE):
        return
    if name not in found.developer and len(found.developer) == MAX_DEVELOPER_FIELDS:
        found.left_out.add(name)
        return
    values = found.developer.setdefault(name, {})
    number = item.value[0] if isinstance(item.value, tuple) else item.value
    if number is not None:
        values.setdefault(point, number)


def _complete_description(message: FitDataMessage, reader: FitReader) -> None:
    """Tell fitdecode the scale and offset of a developer's field, which it does not look for."""
    developer, number, scale, offset = (
        message.get_raw_value(each, fallback=None)
        for each in (
            DescriptionField.DEVELOPER_INDEX,
            DescriptionField.NUMBER,
            DescriptionField.SCALE,
            DescriptionField.OFFSET,
        )
    )
    described = reader.local_dev_types[developer]["fields"][number]
    described.scale = scale if isinstance(scale, int) and scale else 1
    described.offset = offset if isinstance(offset, int) else None


def _file_type(message: FitDataMessage) -> int | None:
    """What a file_id says; None if it is nothing usual."""
    told = next(_standard_fields(message, FILE_ID_TYPE), None)
    if told is None or NUMBER_TYPES.get(told.base_type.identifier) != UINT8:
        return None
    return told.raw_value if isinstance(told.raw_value, int) else None


def _mark(kind: MarkKind, message: FitDataMessage, begun: float | None = None) -> Mark:
    told = (
        item.value
        for item in message.fields
        if item.name == "timestamp" and isinstance(item.value, int | float)
    )
    times = np.array([seconds_of(next(told, None)), seconds_of(begun)], dtype=np.int64)
    return Mark(kind, *(None if time == NO_TIME else time for time in unix_ns_of(times).tolist()))


def _first_raw(message: FitDataMessage, number: int) -> float | None:
    """First valid number, as stored, in the fields of a number."""
    raw = (item.raw_value for item in _standard_fields(message, number))
    return next((value for value in raw if isinstance(value, int | float)), None)


def _standard_fields(message: FitDataMessage, number: int) -> Iterator[Any]:
    """Fields of a number that stand in the message, and are no developer's."""
    for item in message.fields:
        told = item.field_def
        if told is not None and not told.is_dev and told.def_num == number:
            yield item
