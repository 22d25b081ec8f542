"""Height along the ride from two sources that err differently."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.motion.builders import plain_ride
from tests.terrain.builders import TERRAIN, blended, correlated, hills, ride_over
from wherewatt.arrays import FloatArray
from wherewatt.terrain.profile import Profile

NO_TILE = np.full(1201, np.nan)


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def grade_error(heights: FloatArray, truth: FloatArray, distance_m: FloatArray) -> float:
    """Error of the rise over stretches of 100 m [m]."""
    at = np.arange(50.0, distance_m[-1] - 50.0, 100.0)
    return rms(np.diff(np.interp(at, distance_m, heights - truth)))


def test_blend_is_better_than_either_source() -> None:
    """A barometer that drifts 3 m in 20 minutes, and a tile that errs by 3 m over 200 m."""
    absolute, shape = [], []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        ride = ride_over(None)
        truth = hills(ride.distance_m)
        drift = 12.0 + 3.0 * ride.time_s / ride.time_s[-1]
        recorded = truth + drift + rng.normal(0.0, 0.3, len(truth))
        tile = truth + correlated(ride.distance_m, 100.0, 3.0, rng)
        profile = blended(replace(ride, recorded_height_m=recorded), tile)
        found = profile.height_at(ride.distance_m)
        absolute.append([rms(source - truth) for source in (found, recorded, tile)])
        shape.append(
            [grade_error(source, truth, ride.distance_m) for source in (found, recorded, tile)]
        )
    height, rise = np.mean(absolute, axis=0), np.mean(shape, axis=0)
    assert height[0] < 0.7 * min(height[1:])
    # The rise comes from the recording, without its white noise.
    assert rise[0] < 0.2 * rise[2]
    assert rise[0] < 0.5 * rise[1]


def test_climb_survives_the_smoothing() -> None:
    """A ramp of 5 % over 400 m keeps its height."""
    ride = ride_over(None)
    truth = np.clip(0.05 * (ride.distance_m - 3000.0), 0.0, 20.0)
    profile = blended(replace(ride, recorded_height_m=truth), truth)
    rise = np.diff(profile.height_at(np.array([2900.0, 3500.0])))[0]
    assert rise == pytest.approx(20.0, abs=0.5)
    assert profile.structures == ()


def test_no_tile() -> None:
    ride = ride_over(hills(ride_over(None).distance_m))
    profile = blended(ride, NO_TILE)
    shape = profile.height_at(ride.distance_m) - hills(ride.distance_m)
    assert np.ptp(shape) < 2.0
    assert [note.code for note in profile.notes] == ["no-terrain"]


def test_no_recorded_height() -> None:
    ride = ride_over(None)
    profile = blended(ride, hills(ride.distance_m))
    assert rms(profile.height_at(ride.distance_m) - hills(ride.distance_m)) < 1.0
    assert [note.code for note in profile.notes] == ["no-recorded-height"]


def test_neither() -> None:
    ride = ride_over(None)
    profile = blended(ride, NO_TILE)
    assert profile.height_at(ride.distance_m) == pytest.approx(np.zeros(1201), abs=1e-3)
    assert [note.code for note in profile.notes] == ["no-height"]


def test_tile_in_part() -> None:
    ride = ride_over(hills(ride_over(None).distance_m))
    tile = np.where(ride.distance_m < 4000.0, hills(ride.distance_m), np.nan)
    profile = blended(ride, tile)
    assert rms(profile.height_at(ride.distance_m) - hills(ride.distance_m)) < 1.5
    assert [note.code for note in profile.notes] == ["terrain-in-part"]


def test_zero_is_a_height() -> None:
    """A ride at sea level is not one without heights."""
    recorded = np.where(np.arange(1201) % 400 < 200, 0.0, 0.2)  # 0.0 for more than a kilometre
    ride = ride_over(recorded)
    profile = blended(ride, np.zeros(1201))
    assert profile.notes == ()
    assert profile.height_at(ride.distance_m) == pytest.approx(np.zeros(1201), abs=0.2)


def test_holes_in_the_recorded_height() -> None:
    heights = hills(ride_over(None).distance_m)
    heights[400:430] = np.nan
    ride = ride_over(heights)
    profile = blended(ride, NO_TILE)
    shape = profile.height_at(ride.distance_m) - hills(ride.distance_m)
    assert np.ptp(shape) < 3.0


def test_standing_still_does_not_outweigh_riding() -> None:
    """Ten minutes at a café while the weather changes: the hill before it keeps its shape."""
    ride = plain_ride(duration_s=1800.0, stops=((600.0, 1200.0),))
    truth = hills(ride.distance_m)
    weather = np.clip((ride.time_s - 600.0) / 600.0, 0.0, 1.0) * 3.0
    profile = blended(replace(ride, recorded_height_m=truth + weather), truth)
    error = profile.height_at(ride.distance_m) - truth
    assert rms(error) < 1.5


def covariance_cases() -> dict[str, Profile]:
    ride = ride_over(None)
    truth = hills(ride.distance_m)
    recorded = replace(ride, recorded_height_m=truth)
    return {
        "both": blended(recorded, truth),
        "tile": blended(ride, truth),
        "recorded": blended(recorded, NO_TILE),
        "neither": blended(ride, NO_TILE),
    }


@pytest.mark.parametrize("case", ["both", "tile", "recorded", "neither"])
def test_covariance_is_symmetric_and_positive(case: str) -> None:
    profile = covariance_cases()[case]
    covariance = profile.covariance_at(np.linspace(0.0, profile.node_m[-1], 25))
    assert np.array_equal(covariance, covariance.T)
    rises = np.diff(np.diff(covariance, axis=0), axis=1)  # the level itself is of no interest
    level = np.linalg.eigvalsh(rises)
    assert level[0] > -1e-6 * level[-1]
    assert np.all(np.diag(rises) > 0)


def test_less_is_known_with_fewer_sources() -> None:
    at = np.array([1000.0, 3000.0])
    rise_sd = {}
    for name, profile in covariance_cases().items():
        covariance = profile.covariance_at(at)
        rise_sd[name] = float(np.sqrt(covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]))
    assert rise_sd["both"] < rise_sd["tile"] < 10.0
    assert rise_sd["neither"] > 2.0 * max(rise_sd["recorded"], rise_sd["tile"])
    assert rise_sd["neither"] > 20.0  # over 2 km anything is possible


def test_error_of_the_rise_is_as_large_as_the_covariance_says() -> None:
    """Over many draws of the sources' errors, two thirds of the rises within one sd."""
    scores = []
    for seed in range(12):
        rng = np.random.default_rng(100 + seed)
        ride = ride_over(None)
        truth = hills(ride.distance_m)
        recorded = truth + correlated(ride.distance_m, 2e4, 8.0, rng) + rng.normal(0, 0.5, 1201)
        tile = truth + correlated(
            ride.distance_m, TERRAIN.tile_correlation_m, TERRAIN.tile_sd_m, rng
        )
        profile = blended(replace(ride, recorded_height_m=recorded), tile)
        at = np.arange(500.0, 7000.0, 1300.0)
        covariance = np.diff(np.diff(profile.covariance_at(at), axis=0), axis=1)
        error = np.diff(profile.height_at(at) - hills(at))
        scores.append(error / np.sqrt(np.diag(covariance)))
    assert 0.4 < rms(np.concatenate(scores)) < 1.6
