"""The same road ridden again has one height; roads that only meet do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from tests.motion.builders import plain_ride
from tests.terrain.builders import TERRAIN, blended, correlated, hills, out_and_back
from wherewatt.arrays import FloatArray
from wherewatt.motion.ride import Ride
from wherewatt.terrain.nodes import nodes_of
from wherewatt.terrain.revisits import _BLOCK_NODES, _WINDOW, _met, _Reach, first_visits

METRES = np.degrees(1.0 / 6_378_137.0)


def along(east_m: FloatArray, north_m: FloatArray) -> Ride:
    """A ride through places in metres from a point on the equator, 1 s a leg."""
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east_m), np.diff(north_m)))])
    ride = plain_ride(duration_s=float(len(way) - 1), stops=())
    return replace(
        ride,
        latitude_deg=north_m * METRES,
        longitude_deg=east_m * METRES,
        distance_m=way,
        speed_m_s=np.gradient(way),
        heading_rad=np.arctan2(np.diff(east_m), np.diff(north_m)),
    )


def circle(laps: float, radius_m: float = 400.0, *, shift_m: float = 0.0) -> Ride:
    turn = np.linspace(0.0, 2.0 * np.pi * laps, round(laps * 420) + 1)
    radius = radius_m + shift_m * (turn >= 2.0 * np.pi)
    return along(radius * np.sin(turn), radius * np.cos(turn))


def test_out_and_back() -> None:
    nodes = nodes_of(out_and_back(half_m=3000.0), TERRAIN)
    visit = first_visits(nodes, TERRAIN)
    outward, homeward = nodes.distance_m < 3000.0, nodes.distance_m > 3200.0
    assert np.array_equal(visit[outward], np.flatnonzero(outward))
    mirrored = nodes.nearest(6000.0 - nodes.distance_m[homeward])
    assert np.all(np.abs(visit[homeward] - mirrored) <= 1)


def test_laps_go_back_to_the_first() -> None:
    nodes = nodes_of(circle(3.0, shift_m=3.0), TERRAIN)
    visit = first_visits(nodes, TERRAIN)
    first_lap = nodes.distance_m < 2.0 * np.pi * 400.0 - 20.0
    assert np.array_equal(visit[first_lap], np.flatnonzero(first_lap))
    assert np.mean(first_lap[visit]) > 0.98


@pytest.mark.parametrize("shift_m", [30.0, 60.0])
def test_a_road_beside_is_another(shift_m: float) -> None:
    nodes = nodes_of(circle(2.0, shift_m=shift_m), TERRAIN)
    visit = first_visits(nodes, TERRAIN)
    assert np.mean(visit != np.arange(len(nodes))) < 0.02


def test_a_crossing_is_no_visit() -> None:
    """A figure of eight crosses itself once, at a right angle."""
    turn = np.linspace(0.3, 0.3 + 2.0 * np.pi - 0.6, 800)
    nodes = nodes_of(along(800.0 * np.sin(turn), 400.0 * np.sin(2.0 * turn)), TERRAIN)
    assert np.array_equal(first_visits(nodes, TERRAIN), np.arange(len(nodes)))


def test_closed_loop_comes_back_to_its_height() -> None:
    """A loop has no net rise, whatever the barometer says: the weather took 4 m away."""
    ride = circle(1.0, 900.0)
    drift = 4.0 * ride.time_s / ride.time_s[-1]
    ride = replace(ride, recorded_height_m=100.0 + 8.0 * np.sin(ride.distance_m / 450.0) - drift)
    profile = blended(ride, np.full(len(ride.time_s), np.nan))
    ends = np.array([0.0, ride.distance_m[-1]])
    assert np.diff(profile.height_at(ends))[0] == pytest.approx(0.0, abs=0.7)
    covariance = profile.covariance_at(ends)
    assert covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1] < 0.6**2


def test_both_visits_have_one_height() -> None:
    rng = np.random.default_rng(4)
    ride = out_and_back(half_m=4000.0)
    ground = hills(np.minimum(ride.distance_m, 8000.0 - ride.distance_m))
    recorded = ground + correlated(ride.time_s, 300.0, 5.0, rng) + rng.normal(0.0, 1.0, len(ground))
    profile = blended(replace(ride, recorded_height_m=recorded), np.full(len(ground), np.nan))
    there = np.arange(200.0, 3800.0, 100.0)
    apart = profile.height_at(there) - profile.height_at(8000.0 - there)
    assert np.sqrt(np.mean(apart**2)) < 0.7
    raw = np.interp(there, ride.distance_m, recorded)
    raw_back = np.interp(8000.0 - there, ride.distance_m, recorded)
    assert np.sqrt(np.mean((raw - raw_back) ** 2)) > 3.0


def test_over_and_under_keep_their_own_height() -> None:
    """The second lap runs on a deck 15 m above a part of the first: that part is not tied."""
    ride = circle(2.0, 500.0)
    lap = 2.0 * np.pi * 500.0
    rng = np.random.default_rng(2)
    on_deck = np.clip(
        np.minimum(ride.distance_m - lap - 900.0, lap + 1900.0 - ride.distance_m) / 150.0, 0.0, 1.0
    )
    height = 50.0 + 15.0 * on_deck + rng.normal(0.0, 0.3, len(on_deck))
    profile = blended(replace(ride, recorded_height_m=height), np.full(len(height), np.nan))
    deck, below = profile.height_at(np.array([lap + 1400.0, 1400.0]))
    assert deck - below == pytest.approx(15.0, abs=1.0)


@pytest.mark.parametrize("seed", range(4))
def test_those_met_are_those_of_a_search_tree(seed: int) -> None:
    """Against shapely's tree of rectangles, on a walk that crosses itself often."""
    rng = np.random.default_rng(seed)
    least, reach_m = 15, _Reach(along=6.0, across=12.0)
    place = np.cumsum(10.0 * np.exp(1j * np.cumsum(rng.normal(0.0, 0.6, 8000))))
    points = shapely.points(place.real, place.imag)
    pairs = shapely.STRtree(points).query(points, predicate="dwithin", distance=np.hypot(*reach_m))
    way = np.gradient(place)
    off_rad = np.angle(way[pairs[0]] / way[pairs[1]])
    parallel = np.abs(np.sin(off_rad)) <= np.sin(np.radians(25.0))
    apart = (place[pairs[1]] - place[pairs[0]]) * np.exp(-1j * np.angle(way[pairs[0]]))
    near = (np.abs(apart.real) <= reach_m.along) & (np.abs(apart.imag) <= reach_m.across)
    later, earlier = pairs[:, parallel & near & (pairs[0] - pairs[1] > least)]
    first = np.full(len(place), len(place))
    np.minimum.at(first, later, earlier)
    met = _met(place, reach_m, least)
    late = np.arange(len(place)) >= least + _WINDOW
    expected = late & (first < len(place))
    assert np.array_equal(met >= 0, expected)
    assert np.count_nonzero(expected) > 100
    on_first = met - first
    assert np.all((on_first[expected] >= 0) & (on_first[expected] <= _WINDOW))
    window = earlier - first[later] <= _WINDOW // 2
    nearest = np.full(len(place), np.inf)
    np.minimum.at(nearest, later[window], np.abs(place[later] - place[earlier])[window])
    assert np.mean(np.abs(place[met] - place)[expected] <= nearest[expected] + 1e-9) > 0.98


def test_many_laps_go_back_to_the_first() -> None:
    """Far more nodes than are looked at together; the first lap is known throughout."""
    ride = circle(40.0)
    wobble = 3.0 * METRES * np.sin(np.arange(len(ride.latitude_deg)) / 37.0)
    nodes = nodes_of(replace(ride, latitude_deg=ride.latitude_deg + wobble), TERRAIN)
    assert len(nodes) > 2 * _BLOCK_NODES
    visit = first_visits(nodes, TERRAIN)
    lap_m = nodes.distance_m[-1] / 40.0
    later = nodes.distance_m > lap_m + 20.0
    assert np.mean(nodes.distance_m[visit[later]] < lap_m + 20.0) > 0.98
    around = (nodes.distance_m - nodes.distance_m[visit]) % lap_m
    off_m = np.minimum(around, lap_m - around)
    assert np.percentile(off_m, 98) < 2.0 * nodes.spacing_m


def test_places_across_the_date_line() -> None:
    """A grid laid over 180° goes on at −180°, and stays within ±180°."""
    ride = circle(1.0)
    shifted = (ride.longitude_deg + 180.0 + 180.0) % 360.0 - 180.0
    nodes = nodes_of(replace(ride, longitude_deg=shifted), TERRAIN)
    plain = nodes_of(ride, TERRAIN)
    back = (nodes.longitude_deg - 180.0 + 180.0) % 360.0 - 180.0
    assert back == pytest.approx(plain.longitude_deg, abs=1e-9)
    assert np.ptp(nodes.longitude_deg) > 359.0
