"""Damage for readers to survive: bytes changed at random, the same for the same seed."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

Change = Callable[[bytearray, random.Random, Sequence[bytes]], None]

_LONGEST = 200  # bytes that one change may remove, repeat or overwrite
_ODD_BYTES = b"\x00\xff\x7f\x80<>&\"'/= \n0-.eE"


def mutate(data: bytes, seed: int, *, changes: int = 3, tokens: Sequence[bytes] = ()) -> bytes:
    """Change some bytes.

    Parameters
    ----------
    data : what to change.
    seed : the same seed changes the same data in the same way.
    changes : at most so many changes, at least one.
    tokens : pieces that mean something to the reader; some changes splice one in.
    """
    rng = random.Random(seed)
    changed = bytearray(data)
    for _ in range(rng.randint(1, changes)):
        rng.choice(_CHANGES)(changed, rng, tokens)
    return bytes(changed)


def _stretch(data: bytearray, rng: random.Random) -> slice:
    """A stretch of the data, short ones more often."""
    start = rng.randint(0, len(data))
    return slice(start, start + rng.randint(1, rng.choice((1, 8, _LONGEST))))


def _flip_bit(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    if data:
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def _replace_byte(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    if data:
        byte = rng.choice(_ODD_BYTES) if rng.random() < 0.5 else rng.randrange(256)
        data[rng.randrange(len(data))] = byte


def _delete(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    del data[_stretch(data, rng)]


def _insert(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    start = rng.randint(0, len(data))
    data[start:start] = rng.randbytes(rng.randint(1, 8))


def _duplicate(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    stretch = _stretch(data, rng)
    data[stretch.start : stretch.start] = data[stretch]


def _move(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    stretch = _stretch(data, rng)
    piece = data[stretch]
    del data[stretch]
    start = rng.randint(0, len(data))
    data[start:start] = piece


def _truncate(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    del data[rng.randint(0, len(data)) :]


def _splice(data: bytearray, rng: random.Random, tokens: Sequence[bytes]) -> None:
    """Put a token in, between bytes or over them."""
    token = rng.choice(tokens) if tokens else rng.randbytes(4)
    start = rng.randint(0, len(data))
    data[start : start + rng.choice((0, len(token)))] = token


_CHANGES: tuple[Change, ...] = (
    _flip_bit,
    _replace_byte,
    _delete,
    _insert,
    _duplicate,
    _move,
    _truncate,
    _splice,
)
