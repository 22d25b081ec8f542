"""What all rides of an archive say of one vehicle, in bounded memory.

Factors of rides multiply: their information adds up (`wherewatt.allocate.pool`). They are added
along the tree of the rides' numbers, two branches at a time, so that the sum is the same to the
last bit however the archive is cut into parts, and rounding grows with the height of the tree
instead of the number of rides (Higham 2002, Accuracy and Stability of Numerical Algorithms,
section 4.2).
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import pyarrow.compute as pc
import pyarrow.parquet as pq

from wherewatt.allocate.factor import Factor, combined
from wherewatt.archive.columns import SCHEMAS
from wherewatt.archive.holdings import Place, places_in
from wherewatt.archive.partition import PREFIX, bit_of
from wherewatt.archive.store import Store, open_store
from wherewatt.errors import InputError, Problem, nearest_name

T = TypeVar("T")


@dataclass(frozen=True, slots=True, eq=False)
class Said:
    """What one ride said of its vehicle: a row of the table of factors.

    Parameters
    ----------
    ride : its number.
    row : the columns by name.
    """

    ride: str
    row: dict[str, Any]

    @property
    def factor(self) -> Factor:
        """Its factor."""
        names = tuple(self.row["parameters"])
        information = np.array(self.row["information"], dtype=np.float64)
        vector = np.array(self.row["vector"], dtype=np.float64)
        return Factor(names, information.reshape(len(names), len(names)), vector)


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """What several rides say together.

    Parameters
    ----------
    factor : of the vehicle's parameters, by name.
    rides : how many they are.
    latest : of each parameter the last ride that knew it.
    """

    factor: Factor
    rides: int
    latest: dict[str, Said]


def pooled(url: str, vehicle: str) -> Pooled:
    """What all rides of a vehicle say of it together; copies of one track count once.

    Parameters
    ----------
    url : the archive.
    vehicle : as the ride sheets name it.

    Raises
    ------
    InputError
        If there is no archive, or no ride of the vehicle in it.
    """
    out = open_store(url)
    seen: set[bytes] = set()

    def leaf(part: str) -> Pooled | None:
        rides = list(_once(_said(out, part, vehicle), seen))
        return tree_sum([(said.ride, _alone(said)) for said in rides], len(part) - 1, _together)

    whole = over_parts(parts_of(out), leaf, _together)
    if whole is None:
        raise InputError(_no_rides(out, vehicle))
    return whole


def rides_of(url: str, vehicle: str) -> Iterator[Said]:
    """What each ride of a vehicle said of it, one after the other; copies of one track once.

    Raises
    ------
    InputError
        If there is no ride of the vehicle.
    """
    out = open_store(url)
    seen: set[bytes] = set()
    for part in parts_of(out):
        yield from _once(_said(out, part, vehicle), seen)
    if not seen:
        raise InputError(_no_rides(out, vehicle))


def tree_sum(items: Sequence[tuple[str, T]], depth: int, together: Callable[[T, T], T]) -> T | None:
    """Combine items along the tree of their rides' numbers; None if there are none.

    Parameters
    ----------
    items : numbers of rides, which differ, and what is to be combined.
    depth : bits that all of the numbers have in common.
    together : combines two.
    """
    if len(items) <= 1:
        return items[0][1] if items else None
    branches = [
        tree_sum([item for item in items if bit_of(item[0], depth) == bit], depth + 1, together)
        for bit in (0, 1)
    ]
    return _joined(branches, together)


def over_parts(
    parts: Sequence[str], leaf: Callable[[str], T | None], together: Callable[[T, T], T]
) -> T | None:
    """Combine what the parts give along the same tree, in the order of the rides' numbers.

    Parameters
    ----------
    parts : their names, none the beginning of another.
    leaf : what a part gives; None for nothing.
    together : combines two.
    """

    def below(prefix: str) -> T | None:
        if prefix in names:
            return leaf(prefix)
        branches = [f"{prefix}{bit}" for bit in (0, 1)]
        return _joined([below(branch) for branch in branches if branch in beginnings], together)

    names = frozenset(parts)
    beginnings = frozenset(name[:end] for name in parts for end in range(1, len(name) + 1))
    return below(PREFIX) if parts else None


def parts_of(out: Store) -> tuple[str, ...]:
    """Names of the parts of an archive that are in place."""
    folder = "factors"
    files = out.listing(folder) if out.files.isdir(f"{out.root.rstrip('/')}/{folder}") else {}
    parts = [place.part for place in places_in(files) if not place.is_aside]
    # A part and parts of it lie there together only if a run was ended between: take the smaller.
    return tuple(
        part
        for part in parts
        if not any(part != other and other.startswith(part) for other in parts)
    )


def _joined(branches: Sequence[T | None], together: Callable[[T, T], T]) -> T | None:
    there = [branch for branch in branches if branch is not None]
    return together(*there) if len(there) == 2 else (there[0] if there else None)


def _alone(said: Said) -> Pooled:
    factor = combined([said.factor])
    return Pooled(factor, 1, dict.fromkeys(factor.names, said))


def _together(one: Pooled, other: Pooled) -> Pooled:
    latest = dict(one.latest)
    for name, said in other.latest.items():
        if name not in latest or _when(said) > _when(latest[name]):
            latest[name] = said
    return Pooled(combined([one.factor, other.factor]), one.rides + other.rides, latest)


def _when(said: Said) -> tuple[Any, str]:
    return said.row["start_time"], said.ride


def _said(out: Store, part: str, vehicle: str) -> Iterator[Said]:
    file = pq.ParquetFile(io.BytesIO(out.read(Place(part).table("factors"))))
    for number in range(file.num_row_groups):
        table = file.read_row_group(number)
        for row in table.filter(pc.equal(table["vehicle"], vehicle)).to_pylist():
            yield Said(row["ride"], row)


def _once(rides: Iterator[Said], seen: set[bytes]) -> Iterator[Said]:
    """The rides whose tracks were not seen before."""
    for said in sorted(rides, key=lambda said: said.ride):
        sha256 = bytes.fromhex(said.row["sha256"])[:16]
        if sha256 not in seen:
            seen.add(sha256)
            yield said


def _no_rides(out: Store, vehicle: str) -> Problem:
    names: set[str] = set()
    for part in parts_of(out):
        data = io.BytesIO(out.read(Place(part).table("factors")))
        column = pq.read_table(data, columns=["vehicle"], schema=SCHEMAS["factors"])["vehicle"]
        names |= {name for name in column.unique().to_pylist() if name}
    mend = nearest_name(vehicle, names) if names else "name the vehicle in the ride sheets"
    return Problem(out.url, "", f"no ride of '{vehicle}'", "a vehicle of the archive", mend)
