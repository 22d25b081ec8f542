"""Which part a ride belongs to.

A ride's number is a hash of its path. A part holds the rides whose numbers begin with its bits, and
is cut in two where it would hold too many, so that the parts follow from the rides alone. One more
ride changes one part.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

RIDE_DIGITS = 32  # of a hash in hexadecimal: 128 bits, so that no two rides ever share it
PREFIX = "p"  # keeps a reader from taking a part's bits for a number

# From some 2,000 rides on a part holds 32 to 64: of hour-long rides recorded each second, some
# 15 MB of legs. Below that there are few files anyway, and every processor is to get its share.
_MOST_RIDES = 64
_LEAST_PARTS = 32


def ride_of(path: str) -> str:
    """A ride's number, hexadecimal, from the path of its track within the source."""
    return hashlib.sha256(path.encode("utf-8", "surrogateescape")).hexdigest()[:RIDE_DIGITS]


def most_rides(rides: int) -> int:
    """Rides that a part of an archive may hold: a power of two, so that it seldom changes."""
    share = max(rides // _LEAST_PARTS, 1)
    return min(1 << (share.bit_length() - 1), _MOST_RIDES)


def bit_of(ride: str, depth: int) -> int:
    """One bit of a ride's number, the first at depth 0."""
    return int(ride[depth // 4], 16) >> (3 - depth % 4) & 1


@dataclass(frozen=True, slots=True)
class Part:
    """A part: its name, and the numbers of its rides, sorted."""

    name: str
    rides: tuple[str, ...]


def cut(rides: Iterable[str], most: int) -> tuple[Part, ...]:
    """Deal rides out to parts, none of them empty.

    Parameters
    ----------
    rides : their numbers, each once.
    most : rides that a part may hold.
    """
    parts: list[Part] = []

    def split(bits: str, own: list[str]) -> None:
        if len(own) > most:
            for bit in (0, 1):
                split(f"{bits}{bit}", [ride for ride in own if bit_of(ride, len(bits)) == bit])
        elif own:
            parts.append(Part(PREFIX + bits, tuple(own)))

    split("", sorted(rides))
    return tuple(parts)
