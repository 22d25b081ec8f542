"""Where positions are missing, the terrain under a straight line says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.terrain.builders import blended, ride_over
from wherewatt.arrays import BoolArray
from wherewatt.motion.ride import Ride

FROM_M, TO_M = 3000.0, 3800.0


def tunnel(*, recorded: bool) -> tuple[Ride, BoolArray]:
    """A ride through a mountain without satellites, at 2 % upwards, under 80 m of mountain."""
    ride = ride_over(None)
    road = 200.0 + 0.02 * ride.distance_m
    inside = (ride.distance_m > FROM_M) & (ride.distance_m < TO_M)
    height = road if recorded else np.where(inside, np.nan, road)
    return replace(ride, recorded_height_m=height, fixed=~inside), inside


@pytest.mark.parametrize("recorded", [True, False])
def test_tunnel_is_bridged(recorded: bool) -> None:
    ride, inside = tunnel(recorded=recorded)
    road = 200.0 + 0.02 * ride.distance_m
    tile = road + 80.0 * inside
    profile = blended(ride, tile)
    middle = profile.height_at(np.array([FROM_M - 200.0, 3400.0, TO_M + 200.0]))
    assert np.diff(middle) == pytest.approx([12.0, 12.0], abs=1.0 if recorded else 2.5)
    assert profile.structures == ()


def test_less_is_known_inside() -> None:
    ride, _ = tunnel(recorded=False)
    profile = blended(ride, 200.0 + 0.02 * ride.distance_m)
    sd = np.sqrt(np.diag(profile.covariance_at(np.array([2000.0, 3400.0]))))
    assert sd[1] > 1.2 * sd[0]


@pytest.mark.parametrize(
    ("where", "wrong_m"),
    [(slice(0, 40), -111.0), (slice(500, 520), 8848.0), (slice(1150, 1201), 0.0)],
    ids=["before the device knew", "for a while", "at the end"],
)
def test_heights_that_no_road_explains_are_left_out(where: slice, wrong_m: float) -> None:
    ride = ride_over(None)
    road = 150.0 + 0.01 * ride.distance_m
    recorded = road.copy()
    recorded[where] = wrong_m
    profile = blended(replace(ride, recorded_height_m=recorded), np.full(len(road), np.nan))
    rise = np.diff(profile.height_at(np.array([0.0, 3000.0, ride.distance_m[-1]])))
    assert rise == pytest.approx(np.diff([0.0, 30.0, 0.01 * ride.distance_m[-1]]), abs=2.0)
    count = len(range(*where.indices(len(road))))
    assert (
        f"{count} recorded heights"
        in {note.code: note.message for note in profile.notes}["heights-left-out"]
    )


def test_one_height_all_along_is_none() -> None:
    """A device without one writes zero, or where it started; a short level road is a road."""
    ride, short = ride_over(None), ride_over(None, duration_s=400.0)
    unknown = blended(replace(ride, recorded_height_m=np.zeros(1201)), np.full(1201, np.nan))
    assert {"heights-left-out", "no-height"} <= {note.code for note in unknown.notes}
    known = blended(replace(short, recorded_height_m=np.full(401, 7.0)), np.full(401, np.nan))
    assert "no-height" not in {note.code for note in known.notes}
    assert known.height_at(np.array([1000.0])) == pytest.approx(7.0, abs=0.1)


@pytest.mark.parametrize("share", [0.01, 0.03, 0.1, 0.3])
def test_zeros_now_and_then_are_left_out(share: float) -> None:
    ride = ride_over(None)
    road = 470.0 + 0.01 * ride.distance_m
    zero = np.random.default_rng(9).random(len(road)) < share
    recorded = np.where(zero, 0.0, road)
    profile = blended(replace(ride, recorded_height_m=recorded), np.full(len(road), np.nan))
    rise = np.diff(profile.height_at(np.array([0.0, 3000.0, ride.distance_m[-1]])))
    assert rise == pytest.approx(np.diff([0.0, 30.0, 0.01 * ride.distance_m[-1]]), abs=2.0)
    notes = {note.code: note.message for note in profile.notes}
    assert f"{int(zero.sum())} recorded heights" in notes["heights-left-out"]
    assert "height-set-anew" not in notes


def test_a_steep_road_is_believed() -> None:
    """25 % up and down, as a barometer with a metre of noise sees it."""
    ride = ride_over(None)
    rng = np.random.default_rng(6)
    road = 100.0 + 0.25 * np.minimum(ride.distance_m, 7000.0 - ride.distance_m)
    recorded = road + rng.normal(0.0, 1.0, len(road))
    profile = blended(replace(ride, recorded_height_m=recorded), np.full(len(road), np.nan))
    assert "heights-left-out" not in {note.code for note in profile.notes}


def test_a_device_that_sets_its_height_anew() -> None:
    """Calibrated by 60 m half-way: both halves keep their shape, the road has no step."""
    ride = ride_over(None)
    road = 150.0 + 20.0 * np.sin(ride.distance_m / 500.0)
    recorded = road + np.where(ride.distance_m > 3500.0, 60.0, 0.0)
    profile = blended(replace(ride, recorded_height_m=recorded), np.full(len(road), np.nan))
    at = np.array([2000.0, 3300.0, 3700.0, 5000.0])
    true = np.diff(150.0 + 20.0 * np.sin(at / 500.0))
    assert np.diff(profile.height_at(at)) == pytest.approx(true, abs=4.0)
    assert {note.code for note in profile.notes} >= {"height-set-anew"}
