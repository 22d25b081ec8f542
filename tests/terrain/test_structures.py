"""Bridges that terrain tiles do not know."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.terrain.builders import blended, correlated, hills, out_and_back, ride_over
from tests.terrain.models import drawn, solved
from wherewatt.arrays import FloatArray
from wherewatt.motion.ride import Ride
from wherewatt.terrain.humps import Places

START_M, END_M = 3000.0, 3300.0


def hump(distance_m: FloatArray, height_m: float) -> FloatArray:
    """A deck that rises and falls within 300 m, flat over its middle third."""
    inside = np.minimum(distance_m - START_M, END_M - distance_m) / 100.0
    return height_m * np.clip(inside, 0.0, 1.0)


def recorded_with(height_m: float, seed: int) -> tuple[Ride, FloatArray]:
    """A barometer's recording over a structure, and a tile that does not know it."""
    rng = np.random.default_rng(seed)
    ride = ride_over(None)
    ground = hills(ride.distance_m)
    tile = ground + correlated(ride.distance_m, 150.0, 1.0, rng)
    noise = rng.normal(0.0, 0.2, len(ground)) + correlated(ride.distance_m, 3000.0, 1.5, rng)
    recorded = ground + hump(ride.distance_m, height_m) + noise
    return replace(ride, recorded_height_m=recorded), tile


@pytest.mark.parametrize(("height_m", "kind"), [(8.0, "bridge"), (-9.0, "cutting")])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_structure_is_found_and_its_shape_kept(height_m: float, kind: str, seed: int) -> None:
    ride, tile = recorded_with(height_m, seed)
    profile = blended(ride, tile)
    assert [found.kind for found in profile.structures] == [kind]
    found = profile.structures[0]
    assert found.start_m == pytest.approx(START_M, abs=80.0)
    assert found.end_m == pytest.approx(END_M, abs=80.0)
    assert found.height_m == pytest.approx(height_m, abs=3.0)
    deck = profile.height_at(np.array([START_M - 100.0, 3150.0]))
    ground = hills(np.array([START_M - 100.0, 3150.0]))
    assert np.diff(deck - ground)[0] == pytest.approx(height_m, abs=1.5)


@pytest.mark.parametrize("seed", range(8))
def test_none_on_a_plain_road(seed: int) -> None:
    ride, tile = recorded_with(0.0, seed)
    assert blended(ride, tile).structures == ()


def test_few_where_both_sources_are_poor() -> None:
    """A phone's height that wanders by metres in a minute, a tile that errs by as much."""
    found = 0
    for seed in range(8):
        rng = np.random.default_rng(seed)
        ride = ride_over(None, duration_s=2400.0)
        ground = hills(ride.distance_m)
        wander = correlated(ride.distance_m, 300.0, 5.0, rng)
        recorded = ground + wander + rng.normal(0.0, 1.0, len(ground))
        tile = ground + correlated(ride.distance_m, 200.0, 3.0, rng)
        found += len(blended(replace(ride, recorded_height_m=recorded), tile).structures)
    assert found <= 3  # in 115 km


@pytest.mark.parametrize("seed", range(4))
def test_phone_finds_a_bridge_that_is_crossed_twice(seed: int) -> None:
    """Out and back: both visits count, and the structure is flagged on both."""
    rng = np.random.default_rng(50 + seed)
    ride = out_and_back(half_m=6000.0)
    way = np.minimum(ride.distance_m, 12_000.0 - ride.distance_m)
    ground = hills(way)
    wander = correlated(ride.time_s, 300.0, 5.0, rng)
    recorded = ground + hump(way, 9.0) + wander + rng.normal(0.0, 1.0, len(ground))
    place_error = correlated(np.arange(0.0, 6001.0), 180.0, 2.5, rng)
    tile = ground + np.interp(way, np.arange(0.0, 6001.0), place_error)
    profile = blended(replace(ride, recorded_height_m=recorded), tile)
    assert [found.kind for found in profile.structures] == ["bridge", "bridge"]
    there, back = profile.structures
    assert there.start_m == pytest.approx(12_000.0 - back.end_m, abs=30.0)
    assert there.height_m == back.height_m == pytest.approx(9.0, abs=4.0)


def test_terrain_is_not_used_under_a_tagged_structure() -> None:
    """The user says bridge where the hump alone is too low to be seen."""
    ride, tile = recorded_with(3.0, 4)
    inside = (ride.distance_m >= START_M) & (ride.distance_m <= END_M)
    tagged = blended(ride, tile - 6.0 * inside, inside)
    deck = tagged.height_at(np.array([START_M - 100.0, 3150.0]))
    ground = hills(np.array([START_M - 100.0, 3150.0]))
    assert np.diff(deck - ground)[0] == pytest.approx(3.0, abs=1.5)


def test_without_recorded_height_none_is_seen() -> None:
    _, tile = recorded_with(8.0, 1)
    assert blended(ride_over(None), tile).structures == ()


@pytest.mark.parametrize("laps", [2, 4, 5, 9])
def test_a_few_visits_stand_for_all(laps: int) -> None:
    """What laps know of humps, from some of them, against all of them; no source."""
    lap = 300
    observed = drawn(laps * lap, 8)
    first = np.arange(len(observed)) % lap
    once = replace(
        observed, tile_m=np.where(np.arange(len(observed)) < lap, observed.tile_m, np.nan)
    )
    places = Places.of(once, solved(once), first)
    span = np.array([[start, cells] for start in (20, 120, 200) for cells in (12, 30, 60)])
    all_visits = places._shown(span).information(places.solution)
    rel = 1e-4 if laps <= 4 else 0.2  # every visit recorded very unevenly
    assert places.information(span) == pytest.approx(all_visits, rel=rel)
