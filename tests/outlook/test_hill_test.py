"""The hill test: passages of a hill, and whether the next one fits."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from tests.outlook.builders import CONFIG
from tests.support.simulator import SimulatedRide, simulate
from wherewatt.errors import InputError
from wherewatt.ingest.places import TaggedLine
from wherewatt.outlook.hill_test import HillTest, hill_test
from wherewatt.outlook.hill_view import view_of_hill
from wherewatt.outlook.hills import Hill, _swings, hill_between, hill_named, passages
from wherewatt.outlook.turnback_json import HILL_SCHEMA, hill_document
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder
from wherewatt.units import DistanceUnit

KM = DistanceUnit.KM


@pytest.fixture(scope="module")
def sim() -> SimulatedRide:
    """A mountain road up and down again, by a vehicle that brakes into its pack."""
    return simulate("mountain", 11, garage=11)


@pytest.fixture(scope="module")
def result(sim: SimulatedRide, tmp_path_factory: pytest.TempPathFactory) -> RideResult:
    folder = tmp_path_factory.mktemp("hill")
    track = sim.write(folder)
    sim.write_tile(folder, 3)
    return analyse(track, TileFolder((folder,)), CONFIG)


@pytest.fixture(scope="module")
def hill(result: RideResult) -> Hill:
    return hill_named(result, "")


@pytest.fixture(scope="module")
def found(result: RideResult, hill: Hill) -> HillTest:
    return hill_test(result, hill, 10.0, 0.9, CONFIG)


def true_part(sim: SimulatedRide, result: RideResult, one) -> slice:  # type: ignore[no-untyped-def]
    since_s = result.ride.start_unix_s - sim.truth.start_unix_s + one.start_s
    ends = np.searchsorted(sim.truth.time_s, [since_s, since_s + one.duration_s])
    return slice(int(ends[0]), int(ends[1]))


def test_up_and_down_against_the_truth(
    sim: SimulatedRide, result: RideResult, found: HillTest
) -> None:
    assert sorted(one.upward for one in found.passages) == [False, True]
    for one in found.passages:
        part = true_part(sim, result, one)
        power = sim.truth.battery_w[part]
        used = float(power.sum()) * 0.2 / 3600.0
        assert abs(one.energy.mean - used) < 3.0 * one.energy.sd
        height = sim.truth.height_m[[part.start, part.stop]]
        assert one.rise_m == pytest.approx(float(height[1] - height[0]), abs=6.0)
        greatest = float(np.convolve(power, np.full(50, 0.02), "valid").max())
        assert one.greatest_w == pytest.approx(greatest, rel=0.25, abs=30.0)
        assert one.mean_w == pytest.approx(3600.0 * one.energy.mean / one.duration_s)


def test_passage_is_a_part_of_the_ledger(found: HillTest, result: RideResult) -> None:
    """A passage over a whole section has that section's energy, and its spread."""
    feature = next(one for one in found.passages if one.upward)
    inside = (result.ride.distance_m >= feature.start_m - 1.0) & (
        result.ride.distance_m <= feature.start_m + feature.distance_m + 1.0
    )
    legs = result.ledger.leg_wh.sum(axis=0)[(inside[1:] & inside[:-1])]
    assert feature.energy.mean == pytest.approx(legs.sum(), rel=0.02)


def test_whole_ride_has_the_spread_of_the_ledger(result: RideResult) -> None:
    from wherewatt.outlook.contributions import as_ridden
    from wherewatt.outlook.hill_test import _energy
    from wherewatt.outlook.hills import Passage

    everything = Passage(0, len(result.ride.standing), upward=True)
    energy = _energy(result.estimate, as_ridden(result.estimate), everything)
    measure = energy.measure(result.estimate.solution.covariance)
    assert measure.mean == pytest.approx(result.ledger.total.mean)
    assert measure.sd == pytest.approx(result.ledger.total.sd)


def test_recovered_share(sim: SimulatedRide, result: RideResult, found: HillTest) -> None:
    """Charge that truly came back on the way down over what the way up took."""
    assert found.recovered is not None
    down, up = (next(one for one in found.passages if one.upward is way) for way in (False, True))
    power = sim.truth.battery_w[true_part(sim, result, down)]
    back = -float(power[power < 0.0].sum()) * 0.2 / 3600.0
    taken = float(sim.truth.battery_w[true_part(sim, result, up)].sum()) * 0.2 / 3600.0
    assert abs(found.recovered.mean - back / taken) < 2.5 * found.recovered.sd
    assert down.returned is not None
    assert found.recovered.mean == pytest.approx(down.returned.mean / up.energy.mean)


def test_next_passage(found: HillTest, result: RideResult) -> None:
    taken = sum(one.energy.mean for one in found.passages)
    assert found.both_ways
    assert found.next_wh.mean == pytest.approx(taken)
    left, _ = result.remaining
    assert found.left_wh.mean == pytest.approx(
        left[-1] * result.estimate.values["battery_usable_wh"]
    )
    spare = found.left_wh.mean - 0.1 * result.estimate.values["battery_usable_wh"]
    assert found.more <= spare / taken
    assert found.more >= 0.5 * spare / taken


def test_more_reserve_leaves_less_room(result: RideResult, hill: Hill, found: HillTest) -> None:
    tight = hill_test(result, hill, 100.0 * result.remaining[0][-1] - 5.0, 0.9, CONFIG)
    assert tight.more < found.more
    assert tight.chance_next < found.chance_next
    if not tight.more:
        assert view_of_hill(tight, KM).answers[0].startswith("Do not count on the next one")


def test_names(result: RideResult, hill: Hill, found: HillTest) -> None:
    assert hill_named(result, hill.name.upper()).name == hill.name
    with pytest.raises(InputError, match="climb at"):
        hill_named(result, "no such hill")
    line = hill.line
    named = TaggedLine("Far Pass", "", "", line.longitude_deg[::-1], line.latitude_deg[::-1])
    recording = replace(result.recording, places=(named,))
    tagged = replace(result, recording=recording)
    again = hill_test(tagged, hill_named(tagged, "far pass"), 10.0, 0.9, CONFIG)
    ups = [next(one for one in of.passages if one.upward) for of in (found, again)]
    assert ups[1].energy.mean == pytest.approx(ups[0].energy.mean, rel=0.03)


def test_between_places(result: RideResult, found: HillTest) -> None:
    up = next(one for one in found.passages if one.upward)
    ends = (up.start_m / 1000.0, (up.start_m + up.distance_m) / 1000.0)
    placed = hill_between(result, f"{ends[0]:.2f} km", f"{ends[1]:.2f} km")
    again = hill_test(result, placed, 10.0, 0.9, CONFIG)
    assert len(again.passages) == 2
    for start, end, words in (
        ("2 km", "1 km", "behind"),
        ("2 km", "999 km", "within the ride"),
        ("soon", "2 km", "--from"),
    ):
        with pytest.raises(InputError, match=words):
            hill_between(result, start, end)


def test_swings() -> None:
    """Up, down with a rest at the top, up half, down: the half one is no passage."""
    up, down = np.linspace(0.0, 100.0, 21), np.linspace(100.0, 0.0, 21)
    along = np.concatenate([up, np.full(5, 100.0), down, up[:9], down[12:]])
    found = _swings(along, 80.0)
    assert len(found) == 2
    for start, end in found:
        assert abs(along[end] - along[start]) >= 90.0
    assert found[0][1] <= 20
    assert found[1][0] >= 24


def test_every_turn_on_a_hill_counts(result: RideResult, hill: Hill) -> None:
    assert [one.upward for one in passages(result, hill, CONFIG)] == [False, True]


def test_view_and_document(found: HillTest) -> None:
    printed = view_of_hill(found, DistanceUnit.MI)
    assert printed.answers[0].startswith("The next one fits")
    assert any("Braking put back" in answer for answer in printed.answers)
    document = json.loads(json.dumps(hill_document(found), allow_nan=False))
    assert document["schema"] == HILL_SCHEMA
    assert len(document["passages"]) == 2


def test_hill_elsewhere_is_refused(result: RideResult) -> None:
    line = TaggedLine("Far", "", "", np.array([-29.0, -29.01]), np.array([44.0, 44.01]))
    with pytest.raises(InputError, match="no passage"):
        hill_test(result, Hill("Far", line, 1300.0), 10.0, 0.9, CONFIG)
