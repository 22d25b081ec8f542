"""All messages of a layout together, and what only their order in the file tells."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import FloatArray
from wherewatt.ingest.fit_layout import Layout, Slot
from wherewatt.ingest.fit_profile import (
    PACKED_BYTES,
    PACKED_DISTANCE_PER_M,
    TIMESTAMP,
    UINT32,
    Message,
    RecordField,
)
from wherewatt.ingest.fit_scan import COMPRESSED, TIME_OFFSET_BITS, Scan
from wherewatt.ingest.points import NO_TIME, Nanoseconds


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """All messages of a layout.

    Parameters
    ----------
    data : the bytes of the file.
    layout : how the messages are laid out.
    starts : (m,) where they begin.
    """

    data: bytes
    layout: Layout
    starts: Nanoseconds

    def first_numbers(self, slots: Iterable[Slot]) -> FloatArray:
        """(m,) the first valid one of some fields in each message; NaN where there is none."""
        found = np.full(len(self.starts), np.nan)
        for slot in slots:
            numbers = self.layout.numbers(self.data, self.starts, slot)
            found = np.where(np.isnan(found), numbers, found)
        return found

    def scalars(self, number: int) -> list[Slot]:
        """Fields of a number that hold a single value."""
        return [slot for slot in self.layout.slots if slot.number == number and slot.is_scalar]

    def seconds(self, number: int) -> Nanoseconds:
        """(m,) times in a field [s since the FIT epoch]; `NO_TIME` where there is none."""
        slot = self.layout.first_slot(number)
        if slot is None:
            return self.no_times()
        stored = self.layout.stored(self.data, self.starts, slot).astype(np.int64)
        return np.where(stored == UINT32.invalid, NO_TIME, stored)

    def no_times(self) -> Nanoseconds:
        """(m,) `NO_TIME`."""
        return np.full(len(self.starts), NO_TIME, dtype=np.int64)


def times_of(groups: Sequence[Group], found: Scan) -> list[Nanoseconds]:
    """Times of the messages of each group [s since the FIT epoch]; `NO_TIME` if there is none."""
    told = [group.seconds(TIMESTAMP) for group in groups]
    headers = [np.frombuffer(group.data, np.uint8)[group.starts] for group in groups]
    packed = [np.flatnonzero(bytes_ & COMPRESSED) for bytes_ in headers]
    if any(map(len, packed)):
        zeros = np.zeros(len(found.part_starts), dtype=np.int64)
        unpacked = _unpacked(
            np.concatenate(
                [
                    np.array(found.part_starts),
                    *(g.starts[t != NO_TIME] for g, t in zip(groups, told, strict=True)),
                ]
            ),
            np.concatenate([zeros, *(t[t != NO_TIME] for t in told)]),
            [g.starts[which] for g, which in zip(groups, packed, strict=True)],
            [h[which] & TIME_OFFSET_BITS for h, which in zip(headers, packed, strict=True)],
            TIME_OFFSET_BITS,
        )
        for times, which, new in zip(told, packed, unpacked, strict=True):
            times[which] = np.where(times[which] == NO_TIME, new, times[which])
    return told


def _unpacked(
    whole_at: Nanoseconds,
    whole: Nanoseconds,
    low_at: Sequence[Nanoseconds],
    low: Sequence[npt.NDArray[Any]],
    bits: int,
) -> list[Nanoseconds]:
    """Growing numbers of which mostly the low bits are told.

    Parameters
    ----------
    whole_at, whole : (k,) where a whole number stands, and the number; one comes before all else.
    low_at, low : (m,) arrays of where low bits stand, and these; each is the next number that ends
        in them.
    bits : the bits that are told, as a mask.
    """
    counts = [len(each) for each in low]
    at = np.concatenate([whole_at, *low_at])
    values = np.concatenate([whole, *(each.astype(np.int64) for each in low)])
    order = np.argsort(at, kind="stable")  # of one message, the whole number goes first
    values, is_low = values[order], order >= len(whole)
    step = np.where(is_low, np.diff(values & bits, prepend=0) & bits, 0)
    grown = np.cumsum(step)
    last_whole = np.maximum.accumulate(np.where(is_low, 0, np.arange(len(values))))
    numbers = np.empty_like(values)
    numbers[order] = values[last_whole] + grown - grown[last_whole]
    return np.split(numbers[len(whole) :], np.cumsum(counts)[:-1])


def packed_ways(records: Sequence[Group], found: Scan) -> list[FloatArray | None]:
    """Distances [m] that stand packed with the speed, for each group; None where there are none."""
    stored = [packed_in(group) for group in records]
    valid = [np.zeros(0, dtype=np.intp) if s is None else np.flatnonzero(s >= 0) for s in stored]
    ways: list[FloatArray | None] = [None] * len(records)
    if not any(map(len, valid)):
        return ways
    begins = np.concatenate([np.array(found.part_starts), *map(np.array, _definitions(found))])
    unpacked = _unpacked(
        begins,
        np.zeros(len(begins), dtype=np.int64),
        [group.starts[which] for group, which in zip(records, valid, strict=True)],
        [which if s is None else s[which] >> 12 for s, which in zip(stored, valid, strict=True)],
        0xFFF,
    )
    for i, (group, numbers) in enumerate(zip(records, unpacked, strict=True)):
        if stored[i] is not None:
            way = np.full(len(group.starts), np.nan)
            way[valid[i]] = numbers / PACKED_DISTANCE_PER_M
            ways[i] = way
    return ways


def _definitions(found: Scan) -> Iterator[array[int]]:
    """Where records that pack speed and distance are defined, used or not."""
    for layout in found.layouts:
        packed = layout.first_slot(RecordField.COMPRESSED_SPEED_DISTANCE)
        if layout.message == Message.RECORD and packed is not None:
            yield layout.definitions


def packed_in(group: Group) -> Nanoseconds | None:
    """(m,) what packs speed and distance, −1 where invalid; None if there is no such field."""
    slot = group.layout.first_slot(RecordField.COMPRESSED_SPEED_DISTANCE)
    if slot is None:
        return None
    all_bytes = np.frombuffer(group.data, np.uint8)
    low, middle, high = (
        all_bytes[group.starts + slot.offset + i].astype(np.int64) for i in range(PACKED_BYTES)
    )
    packed = low | middle << 8 | high << 16
    return np.where(packed == 0xFFFFFF, -1, packed)
