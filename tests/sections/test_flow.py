"""Stop-and-go: two or more stops within a moving kilometre."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.motion.builders import plain_ride
from tests.sections.builders import CONFIG
from wherewatt.arrays import runs
from wherewatt.motion.ride import Ride, Stop
from wherewatt.sections.flow import flow_labels

SPACING_M = 10.0


def with_stops(places_m: list[float], *, duration_s: float = 20.0) -> Ride:
    ride = plain_ride(duration_s=1500.0, stops=())
    stops = tuple(
        Stop(time, time + duration_s, place)
        for place in places_m
        for time in [float(np.interp(place, ride.distance_m, ride.time_s))]
    )
    return replace(ride, stops=stops)


def stop_and_go(ride: Ride) -> list[tuple[float, float]]:
    """Start and end of every stop-and-go stretch [m]."""
    cells = round(ride.distance_m[-1] / SPACING_M)
    labels = flow_labels(ride, cells, ride.distance_m[-1] / cells, CONFIG.sections)
    return [(SPACING_M * first, SPACING_M * end) for first, end in runs(labels == 1)]


@pytest.mark.parametrize(
    "places_m",
    [[4000.0, 4400.0], [4000.0, 4900.0], [3000.0, 3300.0, 3700.0, 4100.0]],
    ids=["near", "within a kilometre", "four"],
)
def test_stops_close_together(places_m: list[float]) -> None:
    found = stop_and_go(with_stops(places_m))
    assert len(found) == 1
    start, end = found[0]
    assert start <= places_m[0] <= start + 300.0
    assert end - 300.0 <= places_m[-1] <= end


@pytest.mark.parametrize(
    "places_m",
    [[], [4000.0], [200.0], [8700.0], [2000.0, 5000.0], [1500.0, 3500.0, 5500.0]],
    ids=["none", "one", "near the start", "near the end", "two far apart", "every two kilometres"],
)
def test_few_stops_are_steady(places_m: list[float]) -> None:
    assert stop_and_go(with_stops(places_m)) == []


def test_long_breaks_say_nothing_about_traffic() -> None:
    assert stop_and_go(with_stops([4000.0, 4400.0], duration_s=600.0)) == []


def test_start_and_end_are_no_stops_in_traffic() -> None:
    total = float(with_stops([]).distance_m[-1])
    assert stop_and_go(with_stops([0.0, 20.0])) == []
    assert stop_and_go(with_stops([total - 20.0, total])) == []


def test_two_busy_stretches() -> None:
    found = stop_and_go(with_stops([1500.0, 1800.0, 2100.0, 6000.0, 6300.0, 6600.0]))
    assert len(found) == 2


def with_slow_downs(places_m: list[float], *, over_s: float) -> Ride:
    """A ride of 6 m/s that slows to 1 m/s at some places, without stopping, and speeds up again."""
    ride = plain_ride(duration_s=1500.0, stops=())
    speed = ride.speed_m_s.copy()
    for place in places_m:
        away_s = np.abs(ride.time_s - np.interp(place, ride.distance_m, ride.time_s))
        speed = np.minimum(speed, 1.0 + 5.0 * away_s / over_s)
    return replace(ride, speed_m_s=speed)


def test_creeping_in_a_queue_is_stop_and_go() -> None:
    found = stop_and_go(with_slow_downs([4000.0, 4300.0, 4600.0], over_s=5.0))
    assert len(found) == 1
    assert found[0][0] <= 4000.0
    assert found[0][1] >= 4600.0


def test_losing_speed_on_climbs_is_not() -> None:
    assert stop_and_go(with_slow_downs([4000.0, 4300.0, 4600.0], over_s=30.0)) == []
