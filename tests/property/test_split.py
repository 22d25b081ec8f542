"""Points added to a ride change none of its totals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.motion.builders import plain_ride
from tests.property.strategies import QUICK
from wherewatt.motion.ride import Ride

TIMES = st.lists(st.floats(-10.0, 1210.0), max_size=12)


def rider_work_j(ride: Ride) -> float:
    return float(np.trapezoid(ride.rider_w, ride.time_s))


@QUICK
@given(TIMES)
def test_totals_stay(times: list[float]) -> None:
    ride = plain_ride()
    split = ride.split(np.array(times))
    assert split.leg_time_s.sum() == pytest.approx(ride.time_s[-1], rel=1e-12)
    assert split.leg_distance_m.sum() == pytest.approx(ride.distance_m[-1], rel=1e-12)
    assert np.all(split.leg_time_s > 0)
    assert np.all(split.leg_distance_m >= 0)
    for standing in (True, False):
        assert split.leg_time_s[split.standing == standing].sum() == pytest.approx(
            ride.leg_time_s[ride.standing == standing].sum(), rel=1e-12
        )
    squares = np.diff(np.square(split.speed_m_s)).sum()
    assert squares == pytest.approx(np.diff(np.square(ride.speed_m_s)).sum(), abs=1e-9)
    assert set(ride.time_s) <= set(split.time_s)
    assert split.stops == ride.stops


@QUICK
@given(TIMES)
def test_splitting_twice_is_splitting_once(times: list[float]) -> None:
    ride = plain_ride()
    once = ride.split(np.array(times))
    twice = ride.split(np.array(times[::2])).split(np.array(times[1::2]))
    assert once.time_s.tolist() == twice.time_s.tolist()
    assert once.distance_m == pytest.approx(twice.distance_m, abs=1e-9)
    assert once.standing.tolist() == twice.standing.tolist()


@QUICK
@given(TIMES)
def test_work_at_the_pedals_stays(times: list[float]) -> None:
    power = 100.0 + 80.0 * np.sin(np.arange(1201.0))
    ride = plain_ride(rider_w=power)
    split = ride.split(np.array(times))
    assert rider_work_j(split) == pytest.approx(rider_work_j(ride), rel=1e-9)


@QUICK
@given(TIMES)
def test_recorded_heights_stay(times: list[float]) -> None:
    heights = np.random.default_rng(1).normal(300.0, 5.0, 1201)
    split = plain_ride(recorded_height_m=heights).split(np.array(times))
    known = split.recorded_height_m[np.isfinite(split.recorded_height_m)]
    assert known.tolist() == heights.tolist()
