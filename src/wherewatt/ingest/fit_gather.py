"""What stands in the messages of a FIT file: each field of all messages of a layout at once.

Files with what no device is known to write are left to fitdecode: times, heights and speeds of
another type than the profile's, and a developer's field with the number of the timestamp.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.ingest.fit_contents import (
    MAX_DEVELOPER_FIELDS,
    MAX_MARKS,
    Contents,
    columns_from,
    refuse_marks,
    unix_ns_of,
)
from wherewatt.ingest.fit_layout import Layout, Slot
from wherewatt.ingest.fit_messages import Group, packed_in, packed_ways, times_of
from wherewatt.ingest.fit_profile import (
    EVENT,
    EVENT_TYPE,
    FILE_ID_TYPE,
    PACKED_BYTES,
    PACKED_SPEED_PER_M_S,
    READINGS,
    START_TIME,
    TIMER,
    TIMER_STARTS,
    TIMER_STOPS,
    TIMESTAMP,
    UINT8,
    UINT16,
    UINT32,
    Message,
    RecordField,
)
from wherewatt.ingest.fit_scan import scan
from wherewatt.ingest.points import NO_TIME, Nanoseconds, PointColumns
from wherewatt.ingest.source import Source, refuse_beyond
from wherewatt.ingest.track import Mark, MarkKind

_TIMER_EVENTS = {MarkKind.START: TIMER_STARTS, MarkKind.STOP: TIMER_STOPS}
_WITH_START = {Message.LAP: MarkKind.LAP, Message.SESSION: MarkKind.SESSION}


def read_at_once(source: Source) -> Contents | None:
    """Read a FIT file; None if it holds what only fitdecode reads.

    Raises
    ------
    TrackError
        If there are more points, messages or definitions than the limits allow.
    """
    found = scan(source)
    groups = [Group(source.data, each, each.starts()) for each in found.layouts]
    groups = sorted((g for g in groups if len(g.starts)), key=lambda g: int(g.starts[0]))
    if not all(_is_usual(group.layout) for group in groups):
        return None
    timed = list(zip(groups, times_of(groups, found), strict=True))
    records = [(group, times) for group, times in timed if group.layout.message == Message.RECORD]
    most = source.limits.max_points
    if sum(len(group.starts) for group, _ in records) > most:
        refuse_beyond(source.path, "max_points", most, "points")
    points, left_out = _points(records, packed_ways([group for group, _ in records], found))
    return Contents(points, _marks(source, timed), _kinds(groups), left_out, found.condition)


def _is_usual(layout: Layout) -> bool:
    """Whether times, and the fields of records, are of the types that the profile gives them."""
    numbers = [slot.number for slot in layout.slots]
    if any(numbers.count(number) > 1 for number in _single_fields(layout.message)):
        return False
    if any(slot.number == TIMESTAMP for slot in layout.developer_slots):
        return False
    return all(_is_usual_slot(layout.message, slot) for slot in layout.slots)


def _single_fields(message: int) -> set[int]:
    """Fields that a message may hold but once."""
    if message == Message.RECORD:
        return {TIMESTAMP, RecordField.COMPRESSED_SPEED_DISTANCE}
    return {TIMESTAMP, START_TIME} if message in _WITH_START else {TIMESTAMP}


def _is_usual_slot(message: int, slot: Slot) -> bool:
    of_record = message == Message.RECORD
    if slot.number == TIMESTAMP or (slot.number == START_TIME and message in _WITH_START):
        return slot.is_scalar and slot.base_type == UINT32
    if of_record and slot.number in (RecordField.ALTITUDE, RecordField.SPEED):
        return slot.is_scalar and slot.base_type in (UINT8, UINT16)
    if of_record and slot.number == RecordField.COMPRESSED_SPEED_DISTANCE:
        return slot.base_type is None and not slot.is_text and slot.size == PACKED_BYTES
    return True


def _points(
    records: Sequence[tuple[Group, Nanoseconds]], ways: Sequence[FloatArray | None]
) -> tuple[PointColumns, int]:
    """The points in the order of the file, and how many developers' fields are left out."""
    total = sum(len(group.starts) for group, _ in records)
    seconds = np.full(total, NO_TIME, dtype=np.int64)
    readings: dict[str, FloatArray] = {}
    developer: dict[str, FloatArray] = {}
    left_out: set[str] = set()
    for (group, times), rank, way in zip(records, _ranks(records), ways, strict=True):
        seconds[rank] = times
        for name, numbers in _readings(group, way):
            _fill(readings, name, rank, numbers, total)
        for name, slot in _developer_slots(group.layout):
            if name not in developer and len(developer) == MAX_DEVELOPER_FIELDS:
                left_out.add(name)
                continue
            _fill(developer, name, rank, _developer_numbers(group, slot), total)
    return columns_from(seconds, readings, developer), len(left_out)


def _fill(
    columns: dict[str, FloatArray],
    name: str,
    rank: IntArray | slice,
    numbers: FloatArray,
    total: int,
) -> None:
    """Fill the gaps of a column: of fields that say the same, the first that says something."""
    if name not in columns:
        columns[name] = np.full(total, np.nan)
    before = columns[name][rank]
    columns[name][rank] = np.where(np.isnan(before), numbers, before)


def _ranks(records: Sequence[tuple[Group, Nanoseconds]]) -> list[IntArray | slice]:
    """Which points the messages of each group are."""
    if len(records) < 2:
        return [slice(None)] * len(records)
    order = np.argsort(np.concatenate([group.starts for group, _ in records]), kind="stable")
    ranks = np.empty_like(order)
    ranks[order] = np.arange(len(order))
    return [*np.split(ranks, np.cumsum([len(group.starts) for group, _ in records])[:-1])]


def _readings(group: Group, way: FloatArray | None) -> Iterator[tuple[str, FloatArray]]:
    """What fields of records say, by name of `READINGS`, in the order of the fields."""
    for slot in group.layout.slots:
        if (reading := READINGS.get(slot.number)) is not None and slot.is_scalar:
            numbers = group.layout.numbers(group.data, group.starts, slot)
            yield reading.name, numbers / reading.scale - reading.offset
        elif slot.number == RecordField.COMPRESSED_SPEED_DISTANCE and way is not None:
            yield "odometer_m", way
    if (packed := packed_in(group)) is not None:
        speed = (packed & 0xFFF) / PACKED_SPEED_PER_M_S
        yield "packed_speed_m_s", np.where(packed < 0, np.nan, speed)


def _developer_slots(layout: Layout) -> Iterator[tuple[str, Slot]]:
    """Developers' fields that hold numbers, with their names."""
    for slot in layout.developer_slots:
        told = slot.description
        if told is not None and told.name is not None and slot.base_type is not None:
            yield told.name, slot


def _developer_numbers(group: Group, slot: Slot) -> FloatArray:
    numbers = group.layout.numbers(group.data, group.starts, slot)
    told = slot.description
    return numbers if told is None else numbers / told.scale - told.offset


def _marks(source: Source, groups: Iterable[tuple[Group, Nanoseconds]]) -> tuple[Mark, ...]:
    """Laps, sessions, starts and stops, in the order of the file."""
    marks: list[tuple[int, Mark]] = []
    for group, seconds in groups:
        for kind, which in _marking(group):
            if len(marks) + len(which) > MAX_MARKS:
                refuse_marks(source)
            begun = group.no_times() if kind in _TIMER_EVENTS else group.seconds(START_TIME)
            marks += _marks_of(kind, group.starts[which], seconds[which], begun[which])
    return tuple(mark for _, mark in sorted(marks, key=lambda each: each[0]))


def _marking(group: Group) -> list[tuple[MarkKind, IntArray]]:
    """Kinds of marks among the messages of a group, and which messages they are."""
    message = group.layout.message
    if message in _WITH_START:
        return [(_WITH_START[Message(message)], np.arange(len(group.starts)))]
    if message != Message.EVENT:
        return []
    of_timer = group.first_numbers(group.scalars(EVENT)) == TIMER
    event_type = group.first_numbers(group.scalars(EVENT_TYPE))
    return [
        (kind, np.flatnonzero(of_timer & np.isin(event_type, list(types))))
        for kind, types in _TIMER_EVENTS.items()
    ]


def _marks_of(
    kind: MarkKind, starts: Nanoseconds, seconds: Nanoseconds, begun: Nanoseconds
) -> list[tuple[int, Mark]]:
    """Marks of one kind, each with where it stands."""
    rows = zip(
        starts.tolist(), unix_ns_of(seconds).tolist(), unix_ns_of(begun).tolist(), strict=True
    )
    return [
        (start, Mark(kind, *(None if time == NO_TIME else time for time in times)))
        for start, *times in rows
    ]


def _kinds(groups: Iterable[Group]) -> tuple[int | None, ...]:
    """What the file says it is, each type once."""
    first: dict[int | None, int] = {}
    for group in groups:
        if group.layout.message == Message.FILE_ID:
            slot = group.layout.first_slot(FILE_ID_TYPE)
            is_kind = slot is not None and slot.is_scalar and slot.base_type == UINT8
            numbers = group.first_numbers(group.scalars(FILE_ID_TYPE)[:1] if is_kind else [])
            for kind, at in zip(*np.unique(numbers, return_index=True), strict=True):
                key = None if np.isnan(kind) else int(kind)
                start = int(group.starts[at])
                first[key] = min(start, first.get(key, start))
    return tuple(sorted(first, key=first.__getitem__))
