"""How the messages of a FIT file are laid out, as its definitions say."""

from __future__ import annotations

import struct
from array import array
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import FloatArray
from wherewatt.ingest.fit_profile import (
    NUMBER_TYPES,
    TEXT_TYPE,
    BaseType,
    DescriptionField,
)
from wherewatt.ingest.points import Nanoseconds


@dataclass(frozen=True, slots=True)
class Description:
    """What a file says of a developer's field; the type is None if it holds no number."""

    name: str | None
    base_type: BaseType | None
    scale: int
    offset: int


@dataclass(frozen=True, slots=True)
class Slot:
    """A field within a message.

    Parameters
    ----------
    number : number of the field.
    offset : where it begins, counted from the header byte [byte].
    size : its size [byte].
    base_type : type of its numbers; None if it holds none.
    is_text : does it hold text?
    description : of a developer's field; None if there is none.
    """

    number: int
    offset: int
    size: int
    base_type: BaseType | None
    is_text: bool = False
    description: Description | None = None

    @property
    def is_scalar(self) -> bool:
        """Whether it is a single number."""
        return self.base_type is not None and self.base_type.size == self.size


@dataclass(slots=True, eq=False)
class Layout:
    """How messages of one kind are laid out, and where they stand.

    Parameters
    ----------
    message : number of the message in the profile.
    order : byte order, as in formats of `struct`.
    size : size of a message with its header [byte].
    slots, developer_slots : its fields.
    singles : where messages begin.
    cycles : first, count and distance of messages that begin at equal distances.
    definitions : where it is defined.
    """

    message: int
    order: str
    size: int
    slots: tuple[Slot, ...]
    developer_slots: tuple[Slot, ...]
    singles: array[int] = field(default_factory=lambda: array("q"))
    cycles: list[tuple[int, int, int]] = field(default_factory=list)
    definitions: array[int] = field(default_factory=lambda: array("q"))

    def starts(self) -> Nanoseconds:
        """(m,) where its messages begin, in the order of the file."""
        turns = [first + step * np.arange(count) for first, count, step in self.cycles]
        starts = np.concatenate([np.array(self.singles, dtype=np.int64), *turns])
        return np.sort(starts, kind="stable")

    def first_slot(self, number: int) -> Slot | None:
        """The first field of a number."""
        return next((slot for slot in self.slots if slot.number == number), None)

    def whole_number(self, data: bytes, start: int, number: int) -> int | None:
        """Value of the first field of a number in one message; None if it is no whole number."""
        slot = self.first_slot(number)
        if slot is None or slot.base_type is None or not slot.is_scalar:
            return None
        value = struct.unpack_from(self.order + slot.base_type.letter, data, start + slot.offset)[0]
        return value if isinstance(value, int) and value != slot.base_type.invalid else None

    def text(self, data: bytes, start: int, number: int) -> str | None:
        """Text of the first field of a number in one message; None if there is none."""
        slot = self.first_slot(number)
        if slot is None or not slot.is_text:
            return None
        stored = data[start + slot.offset : start + slot.offset + slot.size]
        return stored.split(b"\0", 1)[0].decode("utf-8", errors="replace") or None

    def stored(self, data: bytes, starts: Nanoseconds, slot: Slot) -> npt.NDArray[Any]:
        """(m,) first number of a field in many messages, as it is stored."""
        if slot.base_type is None:
            raise ValueError("the field holds no numbers")
        dtype = np.dtype(self.order + slot.base_type.letter)
        # the number that begins at any byte: a view, in which neighbours overlap
        anywhere = np.ndarray((len(data) - dtype.itemsize + 1,), dtype, data, strides=(1,))
        return anywhere[starts + slot.offset]

    def numbers(self, data: bytes, starts: Nanoseconds, slot: Slot) -> FloatArray:
        """(m,) first number of a field in many messages; NaN where it is invalid."""
        stored = self.stored(data, starts, slot)
        with np.errstate(invalid="ignore"):  # a signalling NaN
            numbers = stored.astype(np.float64)
        invalid = None if slot.base_type is None else slot.base_type.invalid
        # NaN is written anew: arithmetic complains of signalling ones
        numbers[np.isnan(numbers) if invalid is None else stored == invalid] = np.nan
        return numbers


def layout_of(
    standard: bytes, developer: bytes, descriptions: tuple[Description | None, ...]
) -> Layout:
    """Layout that a definition tells.

    Parameters
    ----------
    standard : the definition up to the end of its list of standard fields.
    developer : its list of developers' fields.
    descriptions : what the file says of each of these.
    """
    order = ">" if standard[2] else "<"
    size = 1  # the header byte
    slots, developer_slots = [], []
    for number, length, code in _triples(standard[6:]):
        base_type = _number_type(NUMBER_TYPES.get(code), length)
        slots.append(Slot(number, size, length, base_type, is_text=code == TEXT_TYPE))
        size += length
    for (number, length, _), told in zip(_triples(developer), descriptions, strict=True):
        base_type = _number_type(told.base_type, length) if told is not None else None
        developer_slots.append(Slot(number, size, length, base_type, description=told))
        size += length
    message = int.from_bytes(standard[3:5], "big" if standard[2] else "little")
    return Layout(message, order, size, tuple(slots), tuple(developer_slots))


def description_from(layout: Layout, data: bytes, start: int) -> Description:
    """What a field_description says."""
    code = layout.whole_number(data, start, DescriptionField.BASE_TYPE)
    return Description(
        name=layout.text(data, start, DescriptionField.NAME),
        base_type=None if code is None else NUMBER_TYPES.get(code),
        scale=layout.whole_number(data, start, DescriptionField.SCALE) or 1,
        offset=layout.whole_number(data, start, DescriptionField.OFFSET) or 0,
    )


def _triples(listed: bytes) -> list[tuple[int, int, int]]:
    return list(zip(listed[0::3], listed[1::3], listed[2::3], strict=True))


def _number_type(base_type: BaseType | None, size: int) -> BaseType | None:
    """The type, if a field of that size holds whole numbers of it; else it holds only bytes."""
    fits = base_type is not None and size > 0 and size % base_type.size == 0
    return base_type if fits else None
