"""Where the messages of a FIT file stand.

A message is a header byte and the fields that the last definition for its local number lists, so
one can only be found from the one before. But devices write in cycles: the same few messages,
again and again. Where the next messages begin a cycle, its repeats are found all at once, by
comparing the header bytes of many turns; elsewhere the walk goes from header to header.

The walk reads what the published protocol allows, and goes on where values make no sense. It ends
where it can no longer tell where the next message begins: at the end of the bytes, at a message of
a number that is not defined, or where a message runs over the end of its file.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray
from wherewatt.ingest.fit_contents import Condition, End
from wherewatt.ingest.fit_crc import crc16
from wherewatt.ingest.fit_layout import Description, Layout, description_from, layout_of
from wherewatt.ingest.fit_profile import DEVELOPER_ID_INDEX, DescriptionField, Message
from wherewatt.ingest.source import Source, refuse, refuse_beyond

COMPRESSED = 0x80  # bit of a header
TIME_OFFSET_BITS = 0x1F  # of a compressed header

_DEFINITION = 0x40
_WITH_DEVELOPER_FIELDS = 0x20
_LOCAL_NUMBER_BITS = 0x0F
_COMPRESSED_LOCAL_NUMBER_BITS, _COMPRESSED_LOCAL_NUMBER_SHIFT = 0x03, 5
_SHORT_HEADER_BYTES, _CHECKSUM_BYTES = 12, 2
_LONG_HEADER_BYTES = _SHORT_HEADER_BYTES + _CHECKSUM_BYTES
_DESCRIBING = frozenset({Message.FIELD_DESCRIPTION, Message.DEVELOPER_DATA_ID})

_BYTES = frozenset(range(256))  # what the numbers of developers and of their fields may be

_LONGEST_CYCLE = 8
_FIRST_WINDOW, _LAST_WINDOW = 64, 1 << 16  # turns of a cycle that are compared at once
_FEW, _MANY = 16, 4096  # messages to walk over before a cycle is looked for again
_WORTHWHILE = 64  # messages that a cycle must bring

# Against absurd files: devices define some dozens, and log some messages beside each record.
_MAX_LAYOUTS = 4096
_MAX_MESSAGES_PER_POINT = 8


@dataclass(frozen=True, slots=True)
class Scan:
    """Where everything stands: layouts with their messages, and the start of each chained file."""

    layouts: tuple[Layout, ...]
    part_starts: tuple[int, ...]
    condition: Condition


class _Ended(Exception):
    """The walk cannot go on."""

    def __init__(self, end: End) -> None:
        super().__init__(end)
        self.end = end


def scan(source: Source) -> Scan:
    """Find all messages of a FIT file.

    Raises
    ------
    TrackError
        If there are absurdly many messages or definitions.
    """
    walk = _Walk(source)
    at, end = 0, End.WHOLE
    try:
        while at < len(source.data):
            at = walk.over_part(at)
    except _Ended as ended:
        end = ended.end
    return Scan(
        layouts=tuple(walk.layouts.values()),
        part_starts=tuple(walk.part_starts),
        condition=Condition(len(walk.part_starts), walk.checksums_wrong, end, walk.end_byte),
    )


class _Walk:
    """A walk over a file, and what it has found so far."""

    __slots__ = (
        "checksums_wrong",
        "data",
        "described",
        "end_byte",
        "layouts",
        "local",
        "messages",
        "numbers",
        "part_starts",
        "source",
        "steps",
    )

    def __init__(self, source: Source) -> None:
        self.source = source
        self.data = source.data
        self.numbers = np.frombuffer(source.data, dtype=np.uint8)
        # the same definition again, in whichever part, is the same layout
        self.layouts: dict[tuple[bytes, tuple[Description | None, ...]], Layout] = {}
        self.part_starts: list[int] = []
        self.checksums_wrong = 0
        self.end_byte = 0
        self.messages = 0
        self._begin_part()

    def _begin_part(self) -> None:
        self.local: dict[int, Layout] = {}
        # by developer and number of the field
        self.described: dict[int, dict[int, Description]] = {}
        # by header byte: size of the message and how to keep its start; None: look closer
        self.steps: list[tuple[int, Callable[[int], None]] | None] = [None] * 256

    def over_part(self, at: int) -> int:
        """Walk over one of the chained files, from its first byte to its end."""
        body, end = self._header(at)
        self._begin_part()
        self.part_starts.append(at)
        self.end_byte = body
        self._over_messages(body, end)
        if end + _CHECKSUM_BYTES > len(self.data):
            raise _Ended(End.CUT_SHORT)
        told = int.from_bytes(self.data[end : end + _CHECKSUM_BYTES], "little")
        self.checksums_wrong += crc16(memoryview(self.data)[at:end]) != told
        self.end_byte = end + _CHECKSUM_BYTES
        return self.end_byte

    def _header(self, at: int) -> tuple[int, int]:
        """Where the messages of a file begin and end."""
        if self.data[at + 8 : at + _SHORT_HEADER_BYTES] != b".FIT":
            raise _Ended(End.TRAILING_BYTES)
        size: int = self.data[at]
        if size < _SHORT_HEADER_BYTES or size == _SHORT_HEADER_BYTES + 1:
            raise _Ended(End.TRAILING_BYTES)
        if at + size > len(self.data):
            raise _Ended(End.CUT_SHORT)
        if size > _LONG_HEADER_BYTES:
            raise _Ended(End.DAMAGED)
        body_bytes: int = struct.unpack_from("<I", self.data, at + 4)[0]
        return at + size, at + size + body_bytes

    def _over_messages(self, at: int, end: int) -> None:
        patience = _FEW
        while at < end:
            if at >= len(self.data):
                raise _Ended(End.CUT_SHORT)
            header = self.data[at]
            if header & (COMPRESSED | _DEFINITION) == _DEFINITION:
                at = self._over_definition(at, end)
            elif self.steps[header] is None:
                at = self._over_description(at, end)
            else:
                at, messages = self._over_cycle(at, end)
                patience = _FEW if messages >= _WORTHWHILE else min(2 * patience, _MANY)
                at = self._one_by_one(at, end, patience)
            self.end_byte = at

    def _one_by_one(self, at: int, end: int, count: int) -> int:
        """Walk from header to header; end before a message that needs a closer look."""
        data, steps = self.data, self.steps
        last = min(end, len(data))
        for _ in range(count):
            if at >= last or (step := steps[data[at]]) is None:
                break
            size, keep = step
            following = at + size
            if following > last:
                self.end_byte = at  # of the last sound message
                self._check_end(following, end)
            keep(at)
            at = following
        else:  # an early end is not counted: what made it takes up many bytes itself
            self._count(count)
        return at

    def _over_cycle(self, at: int, end: int) -> tuple[int, int]:
        """Walk over the repeats of the next few messages; where to, over how many messages."""
        last = min(end, len(self.data))
        cycle = self._cycle(at, last)
        if not cycle:
            return at, 0
        length = sum(layout.size for layout, _, _ in cycle)
        turns = self._turns(at, length, cycle, (last - at) // length)
        for layout, offset, _ in cycle:
            layout.cycles.append((at + offset, turns, length))
        self._count(turns * len(cycle))
        return at + turns * length, turns * len(cycle)

    def _cycle(self, at: int, last: int) -> list[tuple[Layout, int, int]]:
        """The next messages up to one with the header of the first; empty if there is none.

        Each with its layout, its offset and the bits of its header that count.
        """
        cycle: list[tuple[Layout, int, int]] = []
        first, position = self.data[at], at
        for _ in range(_LONGEST_CYCLE):
            if position >= last or self.steps[header := self.data[position]] is None:
                return []
            # the time in a compressed header differs from message to message
            bits = 0xFF & ~TIME_OFFSET_BITS if header & COMPRESSED else 0xFF
            if cycle and (header ^ first) & bits == 0:
                return cycle
            layout = self.local[_local_number(header)]
            cycle.append((layout, position - at, bits))
            position += layout.size
        return []

    def _turns(self, at: int, length: int, cycle: list[tuple[Layout, int, int]], most: int) -> int:
        """How often a cycle is repeated, up to `most` times."""
        offsets = [offset for _, offset, _ in cycle]
        bits = np.array([bits for _, _, bits in cycle], dtype=np.uint8)
        headers = self.numbers[at + np.array(offsets)] & bits
        turns, window = 0, _FIRST_WINDOW
        while turns < most:
            count = min(window, most - turns)
            start = at + turns * length
            table = self.numbers[start : start + count * length].reshape(count, length)
            same: BoolArray = ((table[:, offsets] & bits) == headers).all(axis=1)
            if not same.all():
                return turns + int(np.argmin(same))
            turns += count
            window = min(4 * window, _LAST_WINDOW)
        return turns

    def _count(self, messages: int) -> None:
        self.messages += messages
        most = self.source.limits.max_points * _MAX_MESSAGES_PER_POINT
        if self.messages > most:
            what = f"messages, {_MAX_MESSAGES_PER_POINT} for each point that is allowed"
            refuse_beyond(self.source.path, "max_points", most, what)

    def _over_definition(self, at: int, end: int) -> int:
        fields_end, following = self._definition_ends(at, end)
        data = self.data
        told = tuple(
            self.described.get(data[i + 2], {}).get(data[i])
            for i in range(fields_end + 1, following, 3)
        )
        key = (data[at + 1 : following], told)
        if (layout := self.layouts.get(key)) is None:
            if len(self.layouts) >= _MAX_LAYOUTS:
                found = f"more than {_MAX_LAYOUTS:,} different definitions of messages"
                refuse(self.source.path, found, "an activity with records", place=f"byte {at}")
            layout = layout_of(data[at:fields_end], data[fields_end + 1 : following], told)
            self.layouts[key] = layout
        layout.definitions.append(at)
        self._assign(data[at] & _LOCAL_NUMBER_BITS, layout)
        return following

    def _definition_ends(self, at: int, end: int) -> tuple[int, int]:
        """Where the list of standard fields ends, and the whole definition."""
        data = self.data
        if at + 6 > len(data):
            raise _Ended(End.CUT_SHORT)
        fields_end = following = at + 6 + 3 * data[at + 5]
        if data[at] & _WITH_DEVELOPER_FIELDS:
            if fields_end >= len(data):
                raise _Ended(End.CUT_SHORT)
            following = fields_end + 1 + 3 * data[fields_end]
        self._check_end(following, end)
        return fields_end, following

    def _check_end(self, following: int, end: int) -> None:
        """End the walk if a message runs over the end of the bytes or of its file."""
        if following > len(self.data):
            raise _Ended(End.CUT_SHORT)
        if following > end:
            raise _Ended(End.DAMAGED)

    def _assign(self, local: int, layout: Layout) -> None:
        """Let a local number stand for a layout from now on."""
        if self.local.get(local) is layout:
            return
        self.local[local] = layout
        step = None if layout.message in _DESCRIBING else (layout.size, layout.singles.append)
        for unused_bits in range(0, _DEFINITION, _LOCAL_NUMBER_BITS + 1):
            self.steps[unused_bits | local] = step
        if local <= _COMPRESSED_LOCAL_NUMBER_BITS:
            first = COMPRESSED | local << _COMPRESSED_LOCAL_NUMBER_SHIFT
            self.steps[first : first + TIME_OFFSET_BITS + 1] = [step] * (TIME_OFFSET_BITS + 1)

    def _over_description(self, at: int, end: int) -> int:
        """Walk over a message that says something of developers' fields, and take it in."""
        layout = self.local.get(_local_number(self.data[at]))
        if layout is None:
            raise _Ended(End.DAMAGED)
        self._check_end(at + layout.size, end)
        layout.singles.append(at)
        self._count(1)
        self._take_in(layout, at)
        return at + layout.size

    def _take_in(self, layout: Layout, at: int) -> None:
        """Take in a message that begins a developer's list of fields, or adds one to it."""
        if layout.message == Message.DEVELOPER_DATA_ID:
            developer = layout.whole_number(self.data, at, DEVELOPER_ID_INDEX)
            if developer is not None and developer in _BYTES:
                self.described[developer] = {}
            return
        developer = layout.whole_number(self.data, at, DescriptionField.DEVELOPER_INDEX)
        number = layout.whole_number(self.data, at, DescriptionField.NUMBER)
        if developer is not None and number is not None and {developer, number} <= _BYTES:
            fields = self.described.setdefault(developer, {})
            fields[number] = description_from(layout, self.data, at)


def _local_number(header: int) -> int:
    """Local number of the message that a header of data stands before."""
    if header & COMPRESSED:
        return header >> _COMPRESSED_LOCAL_NUMBER_SHIFT & _COMPRESSED_LOCAL_NUMBER_BITS
    return header & _LOCAL_NUMBER_BITS
