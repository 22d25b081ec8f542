"""What all rides of an archive say of one vehicle, in bounded memory.

Factors of rides multiply: their information adds up (`wherewatt.allocate.pool`), once each stands
as on a day of the reference temperature. They are added along the tree of the rides' numbers, two
branches at a time, so that the sum is the same to the last bit however the archive is cut into
parts, and rounding grows with the height of the tree instead of the number of rides (Higham 2002,
Accuracy and Stability of Numerical Algorithms, section 4.2).
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC
from typing import Any, TypeVar

import numpy as np
import pyarrow.compute as pc
import pyarrow.parquet as pq

from wherewatt.allocate.factor import Factor, combined
from wherewatt.archive.columns import SCHEMAS
from wherewatt.archive.holdings import Place, places_in
from wherewatt.archive.partition import PREFIX, bit_of
from wherewatt.archive.store import Store, open_store
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem, nearest_name
from wherewatt.ingest.sheet import RideSheet, VehicleSheet, WeatherSheet
from wherewatt.library import Facts, Learned, RideMark, said_together
from wherewatt.physics.battery import Chemistry

T = TypeVar("T")


@dataclass(frozen=True, slots=True, eq=False)
class Said:
    """What one ride said of its vehicle.

    Parameters
    ----------
    ride : its number.
    learned : the same as a library keeps it.
    """

    ride: str
    learned: Learned


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """What all rides of a vehicle say of it.

    Parameters
    ----------
    vehicle : as the ride sheets name it.
    factor : of its parameters, by name, on a day of the reference temperature.
    rides : how many they are.
    sheet : what was stated of it, each thing as by the latest ride that states it.
    """

    vehicle: str
    factor: Factor
    rides: int
    sheet: VehicleSheet


def pooled(url: str, vehicle: str, config: Config) -> Pooled:
    """What all rides of a vehicle say of it together; copies of one track count once.

    Parameters
    ----------
    url : the archive.
    vehicle : as the ride sheets name it.
    config : the priors, and the reference temperature.

    Raises
    ------
    InputError
        If there is no archive, or no ride of the vehicle in it.
    """
    out = open_store(url)
    rides, sheet = _stated(rides_of(url, vehicle))
    today = RideSheet(sheet, weather=WeatherSheet(temperature_c=config.reference.temperature_c))
    seen: set[bytes] = set()

    def factor(said: Said) -> Factor:
        return said_together([said.learned], today, priors=config.priors, assumed=config.assumed)

    def leaf(part: str) -> Factor | None:
        own = _once(_said(out, part, vehicle), seen)
        return tree_sum([(said.ride, factor(said)) for said in own], len(part) - 1, _together)

    whole = over_parts(parts_of(out), leaf, _together)
    assert whole is not None
    return Pooled(vehicle, whole, rides, sheet)


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


def _together(one: Factor, other: Factor) -> Factor:
    return combined([one, other])


def _stated(rides: Iterable[Said]) -> tuple[int, VehicleSheet]:
    """How many rides there are, and what their sheets state: each thing as the latest does."""
    count, latest = 0, dict[str, tuple[tuple[str, str], Any]]()
    for said in rides:
        count += 1
        assert said.learned.facts is not None
        when = (said.learned.mark.start_time, said.ride)
        for name in VehicleSheet.__slots__:
            value = getattr(said.learned.facts.vehicle, name)
            if value is not None and (name not in latest or when > latest[name][0]):
                latest[name] = (when, value)
    return count, VehicleSheet(**{name: value for name, (_, value) in latest.items()})


def _said(out: Store, part: str, vehicle: str) -> Iterator[Said]:
    file = pq.ParquetFile(io.BytesIO(out.read(Place(part).table("factors"))))
    for number in range(file.num_row_groups):
        table = file.read_row_group(number)
        for row in table.filter(pc.equal(table["vehicle"], vehicle)).to_pylist():
            yield Said(row["ride"], _learned(row))


def _learned(row: dict[str, Any]) -> Learned:
    """A row of the table of factors, as a library keeps it."""
    names = tuple(row["parameters"])
    information = np.array(row["information"], dtype=np.float64).reshape(len(names), len(names))
    factor = Factor(names, information, np.array(row["vector"], dtype=np.float64))
    start = row["start_time"].astimezone(UTC).replace(microsecond=0).isoformat()
    sheet = json.loads(row["sheet"])
    if "battery_chemistry" in sheet:
        sheet["battery_chemistry"] = Chemistry(sheet["battery_chemistry"])
    mark = RideMark(row["vehicle"], row["name"], row["sha256"], start)
    facts = Facts(VehicleSheet(**sheet), row["temperature_c"], row["rider_mass_kg"])
    return Learned(mark, factor, facts)


def _once(rides: Iterator[Said], seen: set[bytes]) -> Iterator[Said]:
    """The rides whose tracks were not seen before."""
    for said in sorted(rides, key=lambda said: said.ride):
        sha256 = bytes.fromhex(said.learned.mark.sha256)[:16]
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
