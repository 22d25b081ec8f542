"""What all rides say of one vehicle."""

from __future__ import annotations

import json
import random
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.archive.builders import RIDES, VEHICLE, age, archive, copied
from tests.support.simulator import simulate
from wherewatt.allocate.parameters import slope_of
from wherewatt.archive.partition import cut, ride_of
from wherewatt.archive.pool import over_parts, parts_of, pooled, rides_of, tree_sum
from wherewatt.archive.store import open_store
from wherewatt.archive.vehicle import export_rides, vehicle_parameters
from wherewatt.config import load_config
from wherewatt.errors import InputError
from wherewatt.ingest.sheet import RideSheet, WeatherSheet
from wherewatt.library import Library, RideMark, said_together
from wherewatt.outlook.knowledge import known_in_common
from wherewatt.outlook.vehicle import find_vehicle
from wherewatt.pipeline import analyse
from wherewatt.terrain.tiles import TileFolder

NOBODY = RideMark(VEHICLE, "", "", "")
CONFIG = load_config()


@pytest.fixture(scope="module")
def library(rides: Path, tmp_path_factory: pytest.TempPathFactory) -> Library:
    """What the report's own library keeps of the same rides."""
    library = Library(tmp_path_factory.mktemp("library"))
    for track in sorted(rides.rglob("*.gpx")):
        result = analyse(track, TileFolder(()), CONFIG, Library(library.folder / "none"))
        assert result.learned is not None
        library.keep(result.learned)
    return library


def test_equals_the_pooled_estimate_of_few_rides(archived: Path, library: Library) -> None:
    """The sum that the report and the comparison make, ride by ride, of the same rides."""
    others = library.others(NOBODY)
    together = pooled(str(archived), VEHICLE, CONFIG)
    weather = WeatherSheet(temperature_c=CONFIG.reference.temperature_c)
    today = RideSheet(together.sheet, weather=weather)
    expected = said_together(others, today, priors=CONFIG.priors, assumed=CONFIG.assumed)
    assert together.rides == len(others) == len(RIDES)
    assert together.factor.names == expected.names
    scale = np.abs(expected.information).max()
    assert np.abs(together.factor.information - expected.information).max() < 1e-9 * scale
    assert np.abs(together.factor.vector - expected.vector).max() < 1e-9 * scale


def test_parameters_are_those_of_a_comparison(archived: Path, library: Library) -> None:
    """`wherewatt compare` knows them from all the rides themselves, each kept by itself."""
    rides = library.rides(VEHICLE)
    together = pooled(str(archived), VEHICLE, CONFIG)
    vehicle = find_vehicle(VEHICLE, library, CONFIG)
    assert together.sheet == vehicle.sheet
    known = known_in_common(vehicle, (), CONFIG)
    found = vehicle_parameters(together, CONFIG)
    spoken = {name for ride in rides for name in ride.factor.names}
    assert {of.name for of in found} == spoken & set(known.parameters.index)
    for of in found:
        number = known.parameters.index[of.name]
        assert of.mean == pytest.approx(known.values[of.name], rel=1e-9), of.name
        prior = known.parameters.items[number].prior
        sd = np.sqrt(known.covariance[number, number])
        assert of.sd == pytest.approx(
            abs(slope_of(prior, float(known.scores[number]))) * sd, rel=1e-9
        )
        assert of.low90 < of.mean < of.high90


def test_same_bits_however_the_archive_is_cut(
    rides: Path, archived: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wherewatt.archive.plan.most_rides", lambda _: 3)
    archive(rides, tmp_path / "out")
    assert len(parts_of(open_store(str(tmp_path / "out")))) < len(RIDES)
    one, other = (pooled(str(out), VEHICLE, CONFIG).factor for out in (archived, tmp_path / "out"))
    assert np.array_equal(one.information, other.information)
    assert np.array_equal(one.vector, other.vector)


@given(st.integers(1, 200), st.integers(1, 9), st.integers(0, 1000))
def test_tree_sums_in_any_order_and_cut(count: int, most: int, seed: int) -> None:
    """Sums along the tree are equal to the last bit; and to the plain sum but for rounding."""
    numbers = random.Random(seed)
    items = [(ride_of(str(number)), numbers.uniform(-1.0, 1.0)) for number in range(count)]
    of = dict(items)

    def plus(one: float, other: float) -> float:
        return one + other

    def leaf(part: str) -> float | None:
        rides = next(other.rides for other in parts if other.name == part)
        shuffled = [(ride, of[ride]) for ride in numbers.sample(rides, len(rides))]
        return tree_sum(shuffled, len(part) - 1, plus)

    parts = cut(of, most)
    whole = tree_sum(items, 0, plus)
    assert over_parts([part.name for part in parts], leaf, plus) == whole
    assert whole == pytest.approx(sum(of.values()), abs=1e-12)
    assert over_parts([], leaf, plus) is None


def test_copies_of_a_track_count_once(rides: Path, archived: Path, tmp_path: Path) -> None:
    source = copied(rides, tmp_path / "rides")
    for file in (source / "a").glob("ride.*"):
        shutil.copy(file, source / "b" / file.name.replace("ride", "copy"))
    age(source)
    assert archive(source, tmp_path / "out").rides == len(RIDES) + 1
    one, other = (pooled(str(out), VEHICLE, CONFIG) for out in (archived, tmp_path / "out"))
    assert one.rides == other.rides
    np.testing.assert_allclose(one.factor.information, other.factor.information, rtol=1e-9)


def test_all_rides_tell_the_capacity(archived: Path) -> None:
    """The truth of the simulated pack, which no estimate has seen."""
    truth = simulate(*RIDES[0], garage=4).truth.battery.usable_wh
    (found,) = [
        of
        for of in vehicle_parameters(pooled(str(archived), VEHICLE, CONFIG), CONFIG)
        if of.name == "battery_usable_wh"
    ]
    assert abs(found.mean - truth) < 3.0 * found.sd
    assert found.sd < 0.05 * truth


def test_rides_for_a_library(archived: Path, library: Library, tmp_path: Path) -> None:
    """The same files as the report writes of the same rides, with what their sheets state."""
    assert export_rides(str(archived), VEHICLE, tmp_path / "vehicles") == len(RIDES)
    written = {path.name: json.loads(path.read_bytes()) for path in tmp_path.rglob("*.json")}
    for path in library.folder.rglob("*.json"):
        own = written.pop(path.name)
        assert own == json.loads(path.read_bytes())
        assert own["sheet"]["name"] == VEHICLE
    assert not written
    assert len(Library(tmp_path / "vehicles").others(NOBODY)) == len(RIDES)


def test_rides_come_one_by_one(archived: Path, library: Library) -> None:
    rides = rides_of(str(archived), VEHICLE)
    first = next(rides)
    marks = [first.learned.mark, *(said.learned.mark for said in rides)]
    assert sorted(mark.sha256 for mark in marks) == [
        ride.mark.sha256 for ride in library.rides(VEHICLE)
    ]


def test_unknown_vehicle(archived: Path) -> None:
    with pytest.raises(InputError, match=f"did you mean '{VEHICLE}'"):
        pooled(str(archived), VEHICLE.lower(), CONFIG)
    with pytest.raises(InputError):
        list(rides_of(str(archived), "nobody's"))
    with pytest.raises(InputError):
        pooled(str(archived / "nowhere"), VEHICLE, CONFIG)
