"""The search for noise levels finds what there is to find."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from tests.terrain.builders import TERRAIN
from tests.terrain.models import NOISE, UNRULY, drawn, side_by_side
from wherewatt.arrays import FloatArray
from wherewatt.terrain.likelihood import LEVELS, Likelihood
from wherewatt.terrain.model import Noise, Observed
from wherewatt.terrain.noise import _stretches, likeliest_noise

OTHERWISE = replace(
    NOISE,
    grade_walk_per_root_m=0.6 * NOISE.grade_walk_per_root_m,
    tile_sd_m=1.3 * NOISE.tile_sd_m,
    wander_sd_m=0.5 * NOISE.wander_sd_m,
    recorded_white_m=1.4 * NOISE.recorded_white_m,
)


def posterior(logs: FloatArray, observed: Observed) -> float:
    """What the search climbs, on the grid on which it climbs."""
    spreads = np.array(
        [
            TERRAIN.grade_walk_spread,
            TERRAIN.tile_sd_spread,
            TERRAIN.wander_spread,
            TERRAIN.white_spread,
        ]
    )
    likelihood = Likelihood.of(_stretches(observed), NOISE, UNRULY)
    return likelihood.at(logs).log_likelihood - 0.5 * float(np.sum(np.square(logs / spreads)))


def logs_of(noise: Noise) -> FloatArray:
    levels = ("grade_walk_per_root_m", "tile_sd_m", "wander_sd_m", "recorded_white_m")
    return np.log([getattr(noise, level) / getattr(NOISE, level) for level in levels])


@pytest.mark.parametrize("truth", [NOISE, OTHERWISE])
@pytest.mark.parametrize("seed", [1, 2])
def test_search_comes_to_the_top(truth: Noise, seed: int) -> None:
    """Against Nelder and Mead's simplex (scipy): the top within half a unit of log-posterior."""
    observed = drawn(900, seed, truth)
    found = posterior(logs_of(likeliest_noise(observed, NOISE, TERRAIN)), observed)
    best = minimize(lambda logs: -posterior(logs, observed), np.zeros(LEVELS), method="Nelder-Mead")
    assert found >= -best.fun - 0.5
    assert found > posterior(np.zeros(LEVELS), observed)


def test_search_finds_the_levels_the_ride_was_drawn_with() -> None:
    """Within what the prior and a ride of 16 km leave open; common practice, no source."""
    off = []
    for seed in range(4):
        observed = drawn(800, 10 + seed, OTHERWISE, spacing_m=20.0)
        found = likeliest_noise(observed, NOISE, TERRAIN)
        off.append(logs_of(found) - logs_of(OTHERWISE))
    assert np.all(np.abs(np.mean(off, axis=0)) < 0.2)


def test_without_terrain_wander_keeps_what_is_expected() -> None:
    observed = replace(drawn(900, 4), tile_m=np.full(900, np.nan))
    found = likeliest_noise(observed, NOISE, TERRAIN)
    assert found.wander_sd_m == NOISE.wander_sd_m
    assert found.tile_sd_m == NOISE.tile_sd_m
    assert found.recorded_white_m != NOISE.recorded_white_m


def test_slope_and_information_are_derivatives() -> None:
    """Against central differences; the information is an average of observed and expected."""
    likelihood = Likelihood.of(side_by_side([drawn(1500, 5)]), NOISE, UNRULY)
    start, steps = np.full(LEVELS, 0.05), 0.05 * np.eye(LEVELS)

    def value(logs: FloatArray) -> float:
        return likelihood.at(logs).log_likelihood

    def slope_at(logs: FloatArray) -> FloatArray:
        return likelihood.slope(likelihood.at(logs))

    slope = [(value(start + step / 50) - value(start - step / 50)) / 0.002 for step in steps]
    assert slope_at(start) == pytest.approx(slope, abs=0.1)
    observed = np.array([(slope - slope_at(start + step)) / 0.05 for step in steps])
    scale = np.sqrt(np.outer(np.diag(observed), np.diag(observed)))
    assert likelihood.information(likelihood.at(start)) / scale == pytest.approx(
        observed / scale, abs=0.25
    )


def test_stretches_are_rides_of_their_own() -> None:
    """Their log-likelihoods and slopes add up, with terrain and without."""
    stretches = [drawn(200, seed) for seed in range(3)]
    stretches[1] = replace(stretches[1], tile_m=np.full(200, np.nan))
    logs = np.array([0.1, -0.2, 0.3, -0.1])

    def value_and_slope(some: list[Observed]) -> FloatArray:
        likelihood = Likelihood.of(side_by_side(some), NOISE, UNRULY)
        here = likelihood.at(logs)
        return np.append(likelihood.slope(here), here.log_likelihood)

    alone = [value_and_slope([one]) for one in stretches]
    assert value_and_slope(stretches) == pytest.approx(np.sum(alone, axis=0), rel=1e-5)


def test_rough_slope_leads_the_same_way() -> None:
    """Half of each stretch tells the slope within a standard deviation of it."""
    stretches = side_by_side([drawn(400, seed) for seed in range(4)])
    likelihood = Likelihood.of(stretches, NOISE, UNRULY)
    here = likelihood.at(np.full(LEVELS, 0.2))
    sd = np.sqrt(np.diag(likelihood.information(here)))
    off = likelihood.slope(here, rough=True) - likelihood.slope(here)
    assert np.all(np.abs(off) < sd)


def test_slope_of_levels_that_are_free() -> None:
    likelihood = Likelihood.of(side_by_side([drawn(300, 7)]), NOISE, UNRULY)
    here, free = likelihood.at(np.zeros(LEVELS)), np.array([True, False, False, True])
    expected = np.where(free, likelihood.slope(here), 0.0)
    assert np.array_equal(likelihood.slope(here, free), expected)


def test_long_rides_are_compared_on_some_stretches() -> None:
    """As much work for a ride of 400 km as for one of 40, from its start to its end."""
    long = drawn(8000, 6, OTHERWISE)
    stretches = _stretches(long)
    assert stretches.tile_m.size < 0.5 * len(long.thinned(2))
    assert stretches.tile_m[0, 0] == long.tile_m[0]
    assert stretches.tile_m[-1, -1] == pytest.approx(long.tile_m[-1], abs=5.0)
    whole = Likelihood.of(side_by_side([long.thinned(2)]), NOISE, UNRULY)
    found = logs_of(likeliest_noise(long, NOISE, TERRAIN))
    assert whole.at(found).log_likelihood > whole.at(np.zeros(LEVELS)).log_likelihood + 100.0
