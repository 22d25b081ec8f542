"""The checksum of FIT files, many bytes at a time.

It is CRC-16/ARC: polynomial 0x8005, bits reflected, start 0 (published FIT protocol, "CRC"; check
value 0xBB3D for "123456789"). The register after a message is a sum over GF(2) of what each of
its words does, so the order of the work is free: the message is laid out as rows of words, rows
are folded onto each other, and what a row does to one that follows is one table look-up a word.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

Words = npt.NDArray[np.uint16]

_POLYNOMIAL_REFLECTED = 0xA001
_WORD_BITS = 16
# Wide rows spare steps, narrow ones leave less to do word by word at the end.
_ROWS = (4096, 64)


def crc16(data: bytes | memoryview) -> int:
    """CRC-16/ARC of some bytes."""
    words = np.frombuffer(data, dtype="<u2", count=len(data) // 2)
    for width in _ROWS:
        words = _folded(words, width)
    step = _table(1)
    register = 0
    for word in words.tolist():
        register = int(step[register ^ word])
    if len(data) % 2:
        register = _shifted(register ^ data[-1], 8)
    return register


def _folded(words: Words, width: int) -> Words:
    """`width` words that have the checksum of all words."""
    # words of zero at the front do nothing to a register that starts at zero
    lead = width - len(words) % width
    row = np.zeros(width, dtype=np.uint16)
    row[lead:] = words[: width - lead]
    onto = _table(width)
    for following in words[width - lead :].reshape(-1, width):
        row = onto[row] ^ following
    return row


@cache
def _table(words: int) -> Words:
    """(65536,) what every register becomes after that many words of zero."""
    images = _images(words)
    table = np.zeros(1 << _WORD_BITS, dtype=np.uint16)
    for bit, image in enumerate(images):
        table[1 << bit : 2 << bit] = table[: 1 << bit] ^ image
    return table


def _images(words: int) -> list[int]:
    """What each single bit of a register becomes after a power of two of words of zero."""
    images = [_shifted(1 << bit, _WORD_BITS) for bit in range(_WORD_BITS)]
    for _ in range(words.bit_length() - 1):
        images = [_mapped(image, images) for image in images]  # twice as far
    return images


def _mapped(register: int, images: list[int]) -> int:
    """Sum of the images of a register's bits."""
    mapped = 0
    for bit, image in enumerate(images):
        if register >> bit & 1:
            mapped ^= image
    return mapped


def _shifted(register: int, bits: int) -> int:
    """What a register becomes after that many bits of zero."""
    for _ in range(bits):
        register = register >> 1 ^ (_POLYNOMIAL_REFLECTED if register & 1 else 0)
    return register
