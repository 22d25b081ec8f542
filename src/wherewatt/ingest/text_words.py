"""Texts of many places at once, in words of eight bytes each.

Eight digits in a word become a number by three multiplications, and the first byte of a word that
has a given value is found without a loop (Warren 2013, "Hacker's delight", 2nd ed., section 6-1,
and the adding of neighbouring fields in section 5-1).

What does not hold is added up in a word of faults for each place, so that it is looked at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import IntArray
from wherewatt.ingest.text_columns import Bytes

Words = npt.NDArray[np.uint64]

WORD = 8  # bytes
_EACH = 0x0101010101010101  # times a byte: that byte eight times
_LOW = np.uint64(_EACH)
BEYOND_ASCII = _HIGH = np.uint64(0x80 * _EACH)  # a bit of each byte
_ZEROS = np.uint64(ord("0") * _EACH)
_TO_HIGH = np.uint64((0x80 - 10) * _EACH)  # lifts what is above nine into the highest bit
_PAIRS, _PAIRS_KEPT = np.uint64(1 + (10 << 8)), np.uint64(0x00FF00FF00FF00FF)
_FOURS, _FOURS_KEPT = np.uint64(1 + (100 << 16)), np.uint64(0x0000FFFF0000FFFF)
_EIGHTS = np.uint64(1 + (10_000 << 32))
_PLACES = np.uint64(0x0001020304050607)  # the n-th byte from the top is n
_MINUS = np.uint64(ord("-") ^ ord("0"))
_FIRST_BYTE = np.uint64(0xFF)


class Literal(NamedTuple):
    """Eight bytes that are to be the same everywhere, as far as the mask says.

    Parameters
    ----------
    offset : where they begin.
    mask, value : which of their bits count, and what these are to be.
    """

    offset: int
    mask: np.uint64
    value: np.uint64


def literals_of(sample: bytes, free: list[slice]) -> tuple[Literal, ...]:
    """What pins a text to a sample, but for some parts of it."""
    mask = bytearray(b"\xff" * len(sample))
    for part in free:
        mask[part] = bytes(len(mask[part]))
    found = []
    for at in range(0, len(sample), WORD):
        bits = int.from_bytes(mask[at : at + WORD], "little")
        if bits:
            value = int.from_bytes(sample[at : at + WORD], "little") & bits
            found.append(Literal(at, np.uint64(bits), np.uint64(value)))
    return tuple(found)


class Windows:
    """Equally long parts of a text.

    Parameters
    ----------
    codes : the text.
    starts : (n,) where the parts begin.
    width : how long they are; the text goes on for `WORD` bytes more behind each.
    """

    def __init__(self, codes: Bytes, starts: IntArray, width: int) -> None:
        self._width = width + WORD
        parts: npt.NDArray[np.void] = np.ndarray(
            len(codes) - self._width + 1, dtype=f"V{self._width}", buffer=codes, strides=(1,)
        )
        self._rows = parts[starts].view(np.uint8)

    def words(self, offset: int) -> Words:
        """(n,) the eight bytes from a place on, the first of them the lowest."""
        count = len(self._rows) // self._width
        return np.ndarray(count, "<u8", self._rows, offset, (self._width,))

    def differences(self, literals: tuple[Literal, ...], faults: Words) -> None:
        """Add the bits in which the parts differ from literals."""
        for offset, mask, value in literals:
            unlike = self.words(offset) ^ value
            unlike &= mask
            faults |= unlike

    def digits(self, offset: int, count: int, faults: Words) -> Words:
        """(n,) numbers of so many digits from a place on; they need not fit a word of text."""
        if count > WORD:
            high = self.digits(offset, count - WORD, faults)
            return high * np.uint64(10**WORD) + self.digits(offset + count - WORD, WORD, faults)
        digits = self.words(offset) ^ _ZEROS
        digits <<= np.uint64(8 * (WORD - count))
        return _number_of(digits, faults)

    def whole_numbers(self, offset: int, end: int, faults: Words) -> tuple[Words, Words, Words]:
        """Numbers of one to seven characters, with a sign or without.

        Parameters
        ----------
        offset : where they begin.
        end : the byte that follows them.

        Returns
        -------
        (n,) their amounts; 1 where there is a minus sign, else 0; and their lengths.
        """
        digits = self.words(offset) ^ _ZEROS
        length = _first(digits, np.uint64((end ^ ord("0")) * _EACH))
        minus = ((digits & _FIRST_BYTE) == _MINUS).astype(np.uint64)
        digits ^= minus * _MINUS
        digits <<= np.uint64(8) * (np.uint64(WORD) - length)
        faults |= length <= minus
        return _number_of(digits, faults), minus, length


def _first(words: Words, repeated: np.uint64) -> Words:
    """(n,) place of the first byte in each word that has a value; 0 if none has.

    Parameters
    ----------
    repeated : that value, eight times.
    """
    unlike = words ^ repeated
    found = unlike - _LOW  # borrows reach the highest bit of the first zero byte, at first
    found &= ~unlike
    found &= _HIGH
    found &= ~found + np.uint64(1)  # only the lowest bit of those
    found >>= np.uint64(7)
    found *= _PLACES
    found >>= np.uint64(8 * (WORD - 1))
    return found


def _number_of(digits: Words, faults: Words) -> Words:
    """(n,) numbers of eight digits, less the code of zero; in their own place."""
    beyond = digits + _TO_HIGH
    beyond |= digits
    beyond &= _HIGH
    faults |= beyond
    digits *= _PAIRS
    digits >>= np.uint64(8)
    digits &= _PAIRS_KEPT
    digits *= _FOURS
    digits >>= np.uint64(16)
    digits &= _FOURS_KEPT
    digits *= _EIGHTS
    digits >>= np.uint64(32)
    return digits
