"""FIT files of any shape that the protocol allows, said exactly or drawn at random."""

from __future__ import annotations

import random
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from tests.ingest.builders import file_id, fit_part

# base types: size [byte] and the bytes of the value that means "not recorded", little-endian
TYPES = {
    0x00: (1, b"\xff"),
    0x01: (1, b"\x7f"),
    0x02: (1, b"\xff"),
    0x83: (2, b"\xff\x7f"),
    0x84: (2, b"\xff\xff"),
    0x85: (4, b"\xff\xff\xff\x7f"),
    0x86: (4, b"\xff\xff\xff\xff"),
    0x07: (1, b"\x00"),
    0x88: (4, b"\xff\xff\xff\xff"),
    0x89: (8, b"\xff" * 8),
    0x0A: (1, b"\x00"),
    0x8B: (2, b"\x00\x00"),
    0x8C: (4, b"\x00" * 4),
    0x0D: (1, b"\xff"),
    0x8E: (8, b"\xff" * 7 + b"\x7f"),
    0x8F: (8, b"\xff" * 8),
    0x90: (8, b"\x00" * 8),
}
RECORD, LAP, SESSION, EVENT, DEVELOPER_ID, DESCRIPTION = 20, 19, 18, 21, 207, 206
PACKED, PACKED_BYTES = 8, 3  # speed and distance of a record in one field
USUAL = {  # fields with the types of the profile, by message
    RECORD: {
        **{253: 0x86, 0: 0x85, 1: 0x85, 2: 0x84, 4: 0x02, 5: 0x86, 6: 0x84, 7: 0x84},
        **{13: 0x01, 53: 0x02, 73: 0x86, 78: 0x86, 3: 0x02, PACKED: 0x0D},
    },
    LAP: {253: 0x86, 2: 0x86, 0: 0x00, 1: 0x00, 7: 0x86},
    SESSION: {253: 0x86, 2: 0x86, 5: 0x00, 9: 0x86},
    EVENT: {253: 0x86, 0: 0x00, 1: 0x00, 3: 0x86},
    0: {0: 0x00, 1: 0x84, 4: 0x86},
    23: {253: 0x86, 2: 0x84, 27: 0x07},  # device_info
    0xFF00: {253: 0x86, 1: 0x84},  # a maker's own
}


@dataclass(frozen=True)
class Told:
    """One field of a definition: number, size [byte], and base type or developer."""

    number: int
    size: int
    kind: int


@dataclass
class Builder:
    """A FIT file in the making; integers are stored in the byte order of their definition."""

    parts: list[bytes] = field(default_factory=list)
    orders: dict[int, str] = field(default_factory=dict)
    developers: set[int] = field(default_factory=set)

    def define(
        self,
        local: int,
        message: int,
        fields: Sequence[Told],
        developer: Sequence[Told] = (),
        *,
        order: str = "<",
    ) -> None:
        self.orders[local] = order
        head = 0x40 | local | (0x20 if developer else 0)
        self.parts.append(struct.pack(f"{order}BBBHB", head, 0, order == ">", message, len(fields)))
        self.parts += [bytes((f.number, f.size, f.kind)) for f in fields]
        if developer:
            self.parts.append(bytes((len(developer),)))
            self.parts += [bytes((f.number, f.size, f.kind)) for f in developer]

    def data(self, local: int, body: bytes, *, offset_s: int | None = None) -> None:
        """A message; with a compressed header if an offset is given."""
        header = local if offset_s is None else 0x80 | local << 5 | offset_s & 0x1F
        self.parts.append(bytes((header,)) + body)

    def packed(
        self, local: int, letters: str, *values: float | bytes, offset_s: int | None = None
    ) -> None:
        """A message of values as `struct` packs them."""
        self.data(local, struct.pack(self.orders[local] + letters, *values), offset_s=offset_s)

    def describe(
        self,
        number: int,
        base_type: int,
        name: bytes,
        *,
        developer: int = 0,
        scale: int = 0xFF,
        offset: int = 0x7F,
    ) -> None:
        """A developer's field; local numbers 14 and 15 are used for it."""
        self.define(14, DEVELOPER_ID, [Told(3, 1, 0x02)])
        if developer not in self.developers:
            self.data(14, bytes((developer,)))
            self.developers.add(developer)
        told = [Told(n, 1, 0x02) for n in (0, 1, 2, 6)]
        self.define(15, DESCRIPTION, [*told, Told(7, 1, 0x01), Told(3, 12, 0x07)])
        body = bytes((developer, number, base_type, scale)) + struct.pack("b", offset)
        self.data(15, body + name.ljust(12, b"\0")[:12])

    def body(self) -> bytes:
        return b"".join(self.parts)

    def file(self, *, header_size: int = 14) -> bytes:
        return fit_part(self.body(), header_size=header_size)


@dataclass(frozen=True)
class _Shape:
    """What a random definition says."""

    message: int
    fields: tuple[Told, ...]
    developer: tuple[Told, ...]
    order: str


def random_fit(rng: random.Random, *, usual: bool) -> bytes:
    """A whole file of one to three parts; `usual` types only, or any."""
    return b"".join(_random_part(rng, usual=usual) for _ in range(rng.choice((1, 1, 1, 2, 3))))


def _random_part(rng: random.Random, *, usual: bool) -> bytes:
    build = Builder([file_id(rng.choice((4, 4, 6)))] if rng.random() < 0.8 else [])
    described: dict[tuple[int, int], int] = {}  # size by number and developer
    shapes: dict[int, _Shape] = {}
    clock = rng.choice((1_000, 1_115_000_000, 2**32 - 200))
    for _ in range(rng.randint(1, 12)):
        if rng.random() < 0.2:
            described.update(_describe(build, rng))
        local = rng.randrange(5)
        shapes[local] = _shape(rng, described, usual=usual)
        shape = shapes[local]
        build.define(local, shape.message, shape.fields, shape.developer, order=shape.order)
        cycle = [rng.choice(list(shapes)) for _ in range(rng.randint(1, 4))]
        for _ in range(rng.choice((0, 1, 5, 80, 150))):
            clock += rng.choice((0, 1, 1, 1, 2, 40))
            for local in cycle:
                packed = local < 4 and rng.random() < 0.3
                body = _random_body(rng, shapes[local], clock)
                build.data(local, body, offset_s=clock if packed else None)
    return build.file(header_size=rng.choice((12, 14)))


def _describe(build: Builder, rng: random.Random) -> dict[tuple[int, int], int]:
    number, developer = rng.randrange(3), rng.randrange(2)
    base_type = rng.choice(list(TYPES))
    name = rng.choice((b"volts", b"power", b"Temp \xc3\xa9", b"\xff\xfe", b""))
    scale, offset = rng.choice((0xFF, 0, 1, 10)), rng.choice((0x7F, 0, -5, 3))
    build.describe(number, base_type, name, developer=developer, scale=scale, offset=offset)
    return {(number, developer): TYPES[base_type][0]}


def _shape(rng: random.Random, described: Mapping[tuple[int, int], int], *, usual: bool) -> _Shape:
    message = rng.choice((RECORD, RECORD, RECORD, *USUAL))
    known = USUAL[message]
    numbers = rng.sample(list(known), rng.randint(1, len(known)))
    fields = [
        Told(n, PACKED_BYTES if known[n] == 0x0D else TYPES[known[n]][0], known[n]) for n in numbers
    ]
    for _ in range(rng.randrange(3)):  # fields of no interest, of any type and size
        base_type = rng.choice((*TYPES, 0x42, 0xFF))
        fields.append(Told(rng.randint(200, 250), rng.randint(1, 9), base_type))
    if not usual:
        for _ in range(2):
            base_type = rng.choice(list(TYPES))
            size = TYPES[base_type][0] * rng.choice((1, 1, 2, 3))
            number = rng.choice((*known, 8, 2, 6, 253))
            fields.insert(rng.randrange(len(fields)), Told(number, size, base_type))
    developer = [
        Told(number, described[number, index] * rng.choice((1, 1, 1, 2)), index)
        for number, index in rng.sample(list(described), min(len(described), 2))
    ]
    return _Shape(message, tuple(fields), tuple(developer), rng.choice("<>"))


def _random_body(rng: random.Random, shape: _Shape, clock: int) -> bytes:
    return b"".join(
        _random_value(rng, told, shape, clock) for told in (*shape.fields, *shape.developer)
    )


def _random_value(rng: random.Random, told: Told, shape: _Shape, clock: int) -> bytes:
    is_usual = told in shape.fields and USUAL[shape.message].get(told.number) == told.kind
    if rng.random() < 0.1 and told in shape.fields and told.kind in TYPES:
        size, invalid = TYPES[told.kind]
        invalid = invalid if shape.order == "<" else invalid[::-1]
        return (invalid * (told.size // size)).ljust(told.size, b"\xff")
    if is_usual and told.number == 253:
        return struct.pack(f"{shape.order}I", min(clock, 2**32 - 1))
    if is_usual and shape.message == EVENT and told.size == 1:
        return bytes((rng.choice((0, 0, 1, 4, 9, 26)),))
    return rng.choice((rng.randbytes(told.size), bytes(told.size), b"\xff" * told.size))
