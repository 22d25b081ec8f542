"""The way home during a ride: chances, paces, routes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.outlook.builders import CONFIG
from tests.outlook.turnback_builders import cut_short
from tests.support.simulator import simulate
from wherewatt.allocate.ledger import Z90
from wherewatt.errors import InputError
from wherewatt.outlook.home_route import home_along
from wherewatt.outlook.homeward import Homeward, Wanted, homeward
from wherewatt.outlook.homeward_view import view_of_homeward
from wherewatt.outlook.ridden_pace import power_over, ridden_pace
from wherewatt.outlook.turnback_json import HOMEWARD_SCHEMA, homeward_document
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder
from wherewatt.units import DistanceUnit

KM = DistanceUnit.KM
WANTED = Wanted(None, None, reserve_pct=10.0, chance=0.9, speed_step_m_s=1.0 / 3.6)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("so_far")


@pytest.fixture(scope="module")
def half_way(folder: Path) -> RideResult:
    """A windy ride out and back, recorded up to its turn."""
    return cut_short(folder / "full", 0.5)


@pytest.fixture(scope="module")
def found(half_way: RideResult) -> Homeward:
    return homeward(half_way, WANTED, CONFIG)


def with_charge(folder: Path, start_pct: float) -> Homeward:
    result = cut_short(folder / f"{start_pct:.0f}", 0.5, start_pct=start_pct)
    return homeward(result, WANTED, CONFIG)


def test_left_now_is_that_of_the_report(found: Homeward, half_way: RideResult) -> None:
    left, sd = half_way.remaining
    assert found.left.median == pytest.approx(left[-1], abs=0.01)
    assert found.left.high90 - found.left.low90 == pytest.approx(2.0 * Z90 * sd[-1], rel=0.15)


def test_truth_lies_within_the_interval(found: Homeward) -> None:
    truth = simulate("windy", 3, garage=3).truth
    whole = truth.total_wh / truth.battery.usable_wh
    left = found.present.left
    assert left.low90 < truth.battery.start_soc - whole < left.high90


def test_home_is_the_way_back(found: Homeward, half_way: RideResult) -> None:
    assert found.back_along
    assert found.course.length_m == pytest.approx(float(half_way.ride.distance_m[-1]))
    ends = half_way.profile.height_at(half_way.ride.distance_m[[0, -1]])
    assert found.course.height_m[[-1, 0]] == pytest.approx(ends)


def test_enough_at_the_pace_of_the_ride(found: Homeward) -> None:
    assert found.enough
    assert found.best is found.present
    assert found.present.sure_m == pytest.approx(found.course.length_m)
    assert view_of_homeward(found, KM).answers[0].startswith("Home at your pace of")
    speeds = [one.top_speed_m_s for one in found.speeds]
    assert speeds == sorted(speeds, reverse=True)
    assert speeds[0] == found.present.top_speed_m_s
    assert speeds[-1] >= CONFIG.pace.walk_m_s


def test_slower_takes_longer_and_is_surer(folder: Path) -> None:
    scarce = with_charge(folder, 56.0)
    assert scarce.enough
    assert scarce.best.top_speed_m_s < scarce.present.top_speed_m_s
    assert scarce.best.chance >= 0.9 > scarce.present.chance
    assert scarce.best.time_s > scarce.present.time_s
    faster = 3.6 * scarce.best.top_speed_m_s + 1.0
    again = replace(
        WANTED, pace=replace(ridden_pace(scarce.result, CONFIG), top_speed_m_s=faster / 3.6)
    )
    assert homeward(scarce.result, again, CONFIG).present.chance < 0.9
    assert view_of_homeward(scarce, KM).answers[0].startswith("Ride home at no more than")


def test_too_little_is_said_plainly(folder: Path) -> None:
    short = with_charge(folder, 48.0)
    assert not short.enough
    assert short.best.chance == max(one.chance for one in short.speeds)
    assert 0.0 < short.best.sure_m < short.course.length_m
    answers = view_of_homeward(short, KM).answers
    assert answers[0].startswith("Do not count on getting home")
    assert "charge, push, or be fetched" in answers[0]


def test_below_the_reserve_already(folder: Path) -> None:
    result = cut_short(folder / "28", 0.5, start_pct=28.0)
    short = homeward(result, replace(WANTED, reserve_pct=30.0), CONFIG)
    codes = [note.code for note in short.notes]
    assert "below-reserve" in codes
    assert "near-empty" in codes
    assert short.best.sure_m == 0.0
    assert "charge, push, or be fetched" in view_of_homeward(short, KM).answers[0]


def test_more_reserve_is_less_sure(half_way: RideResult, found: Homeward) -> None:
    more = homeward(half_way, replace(WANTED, reserve_pct=35.0), CONFIG)
    assert more.present.chance < found.present.chance
    assert more.present.left == found.present.left


def test_planned_way_home_either_way_round(half_way: RideResult, folder: Path) -> None:
    """The plan may be of the way out or of the way home; it is ridden from where the ride is."""
    ride = half_way.ride
    some = np.linspace(0, len(ride.time_s) - 1, 200).astype(int)
    rows = [(ride.latitude_deg[number], ride.longitude_deg[number]) for number in some]
    tiles = TileFolder((folder / "full",))
    for name, points in (("out", rows), ("home", rows[::-1])):
        path = folder / f"{name}.gpx"
        path.write_text(_gpx(points), encoding="utf-8")
        course = home_along(path, half_way, tiles, CONFIG)
        length = float(ride.distance_m[-1])
        assert course.length_m == pytest.approx(length, rel=0.03)
        ends = half_way.profile.height_at(ride.distance_m[[-1, 0]])
        assert course.height_m[[0, -1]] == pytest.approx(ends, abs=8.0)
        planned = homeward(half_way, replace(WANTED, course=course), CONFIG)
        assert not planned.back_along
        assert planned.course.stops_m.size > 0 or not half_way.ride.stops


def test_way_home_from_elsewhere_is_refused(half_way: RideResult, folder: Path) -> None:
    path = folder / "elsewhere.gpx"
    path.write_text(_gpx([(44.9, -29.5), (44.91, -29.5)]), encoding="utf-8")
    with pytest.raises(InputError, match="passes"):
        home_along(path, half_way, TileFolder((folder / "full",)), CONFIG)


def test_old_call_out_is_told(half_way: RideResult) -> None:
    shown = half_way.estimate.evidence.shown
    early = replace(
        shown, time_s=shown.time_s[:1], distance_m=shown.distance_m[:1], percent=shown.percent[:1],
        resting=shown.resting[:1],
    )  # fmt: skip
    evidence = replace(half_way.estimate.evidence, shown=early)
    result = replace(half_way, estimate=replace(half_way.estimate, evidence=evidence))
    notes = homeward(result, WANTED, CONFIG).notes
    assert "old-call-out" in [note.code for note in notes]


def test_pace_of_a_ride(half_way: RideResult) -> None:
    truth = simulate("windy", 3, garage=3).truth.vehicle
    pace = ridden_pace(half_way, CONFIG)
    assert pace.top_speed_m_s == pytest.approx(truth.cruise_m_s, rel=0.08)
    assert pace.wheel_power_w <= 1.1 * truth.max_power_w


def test_power_over_windows() -> None:
    """100 J in each of ten seconds, then nothing: the mean over ten seconds falls evenly."""
    time = np.arange(21.0)
    joules = np.where(time[:-1] < 10.0, 100.0, 0.0)
    assert power_over(time, joules, 10.0) == pytest.approx(100.0 - 10.0 * np.arange(11.0))


def test_document(found: Homeward) -> None:
    document = json.loads(json.dumps(homeward_document(found), allow_nan=False))
    assert document["schema"] == HOMEWARD_SCHEMA
    assert document["enough"] is True
    assert document["present"]["chance"] == found.present.chance


def _gpx(points: list[tuple[float, float]]) -> str:
    rows = "".join(f'<rtept lat="{lat:.6f}" lon="{lon:.6f}"/>' for lat, lon in points)
    return (
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<rte>{rows}</rte></gpx>"
    )
