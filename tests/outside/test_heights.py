"""Noise levels of the height sources against published accuracies, and the blend's own algebra."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import block_diag

from tests.terrain.builders import TERRAIN
from wherewatt.arrays import FloatArray
from wherewatt.terrain.likelihood import Likelihood
from wherewatt.terrain.model import HEIGHT, TILE_ERROR, WANDER, WEATHER, Noise, Observed
from wherewatt.terrain.noise import expected_noise
from wherewatt.terrain.solution import Pairs, solve

Z90 = 1.6449


def test_tile_noise_is_that_of_the_survey() -> None:
    """Relative height, 90 % of pairs within 4.7 to 9.8 m by continent.

    Rodriguez, Morris, Belz 2006, PE&RS 72:249-260 (values from memory). A pair differs by √2 sd.
    """
    assert 4.7 <= Z90 * np.sqrt(2.0) * TERRAIN.tile_sd_m <= 9.8


def test_tile_noise_is_below_the_specification() -> None:
    """Root mean square error 9.73 m (Mukul et al. 2017, Sci. Rep. 7:41672, abstract)."""
    assert TERRAIN.tile_sd_m < 9.73


def test_satellite_height_is_within_the_service_standard() -> None:
    """Vertical error at most 13 m in 95 % (GPS SPS Performance Standard 2020; from memory)."""
    assert 13.0 / 1.96 <= TERRAIN.most_wander_m <= 1.25 * 13.0 / 1.96


def test_weather_is_that_of_a_pressure_tendency() -> None:
    """8.3242 m per hPa at sea level (ISO 2533); half a hectopascal an hour, common practice."""
    metres_in_an_hour = TERRAIN.weather_walk_m_per_root_s * np.sqrt(3600.0)
    assert 0.3 <= metres_in_an_hour / 8.3242 <= 0.7


def observations(nodes: int, seed: int) -> Observed:
    rng = np.random.default_rng(seed)
    tile, recorded = rng.normal(0.0, 3.0, (2, nodes))
    count = rng.integers(0, 4, nodes).astype(np.float64)
    tile[[3, 4]] = np.nan
    unruly = np.zeros(nodes, dtype=bool)
    unruly[10:14] = True
    return Observed(
        spacing_m=10.0,
        leg_s=rng.uniform(1.0, 40.0, nodes - 1),
        tile_m=tile,
        tile_extra_sd_m=np.abs(rng.normal(0.0, 1.0, nodes)),
        recorded_m=np.where(count > 0, recorded, np.nan),
        count=count,
        unruly=unruly,
        new_datum=np.arange(nodes - 1) == 20,
    )


def dense_prior(
    observed: Observed, noise: Noise, unruly_walk: float
) -> tuple[FloatArray, FloatArray]:
    """Precision of height and covariance of the errors, written out from their recursions."""
    n = len(observed)
    a = np.exp(-observed.spacing_m / noise.tile_length_m)
    near = 2.0 * a / (1.0 + a**2)
    step = noise.tile_sd_m * np.sqrt((1.0 - a**2) ** 3 / (1.0 + a**2))
    tile = np.zeros((n, n))  # x = tile @ unit steps
    tile[0, 0] = noise.tile_sd_m
    tile[1] = near * tile[0]
    tile[1, 1] = noise.tile_sd_m * np.sqrt(1.0 - near**2)
    for i in range(2, n):
        tile[i] = 2.0 * a * tile[i - 1] - a**2 * tile[i - 2]
        tile[i, i] += step
    wander, weather = np.zeros((n, n)), np.zeros((n, n))
    wander[0, 0], weather[0, 0] = noise.wander_sd_m, 100.0
    for i, seconds in enumerate(observed.leg_s, start=1):
        keep = np.exp(-seconds / noise.wander_s)
        wander[i], weather[i] = keep * wander[i - 1], weather[i - 1]
        wander[i, i] += noise.wander_sd_m * np.sqrt(1.0 - keep**2)
        weather[i, i] += noise.weather_walk_m_per_root_s * np.sqrt(seconds)
        weather[i, i] = np.hypot(weather[i, i], 100.0 * observed.new_datum[i - 1])
    walk = np.where(observed.unruly, unruly_walk, noise.grade_walk_per_root_m)
    bends = np.diff(np.eye(n), 2, axis=0) / (walk[1:-1] * observed.spacing_m**1.5)[:, None]
    slopes = np.diff(np.eye(n), axis=0) / (0.5 * observed.spacing_m)
    start = np.zeros((n, n))
    start[0, 0] = 1e-6
    height = bends.T @ bends + slopes.T @ slopes + start
    return height, block_diag(tile @ tile.T, wander @ wander.T, weather @ weather.T)


@pytest.mark.parametrize("seed", [1, 2])
def test_banded_solution_is_that_of_dense_regression(seed: int) -> None:
    """Heights and their covariance, against generalised least squares with full matrices."""
    observed = observations(40, seed)
    n, unruly = len(observed), 0.006
    noise = expected_noise(1.0, 90.0, TERRAIN)
    found = solve(observed, noise, unruly_walk_per_root_m=unruly)
    height, errors = dense_prior(observed, noise, unruly)
    prior = block_diag(np.linalg.inv(height), errors)
    place = {HEIGHT: 0, TILE_ERROR: n, WANDER: 2 * n, WEATHER: 3 * n}
    rows, values, variances = [], [], []
    for i in range(n):
        for states, value, variance in (
            (
                (HEIGHT, TILE_ERROR),
                observed.tile_m[i],
                noise.tile_white_m2_m / 10.0 + observed.tile_extra_sd_m[i] ** 2,
            ),
            (
                (HEIGHT, WANDER, WEATHER),
                observed.recorded_m[i],
                noise.recorded_white_m**2 / max(observed.count[i], 1.0),
            ),
        ):
            if np.isfinite(value):
                row = np.zeros(4 * n)
                row[[place[state] + i for state in states]] = 1.0
                rows.append(row)
                values.append(value)
                variances.append(variance)
    design = np.array(rows)
    gain = prior @ design.T @ np.linalg.inv(design @ prior @ design.T + np.diag(variances))
    expected = gain @ np.array(values)
    covariance = (prior - gain @ design @ prior)[:n, :n]
    assert found.height_m == pytest.approx(expected[:n], abs=1e-5)
    nodes = np.array([0, 7, 20, 39])
    assert found.height_covariance(nodes) == pytest.approx(
        covariance[np.ix_(nodes, nodes)], rel=1e-3
    )  # the full matrices are ill-conditioned


def test_ties_are_observations_more() -> None:
    """Two nodes tied: the same as one more observation of their difference, worked out in full."""
    observed = observations(30, 3)
    noise = expected_noise(1.0, 90.0, TERRAIN)
    free = solve(observed, noise, unruly_walk_per_root_m=0.006)
    pairs = Pairs(np.array([25, 28]), np.array([5, 2]), 0.5)
    tied = solve(observed, noise, unruly_walk_per_root_m=0.006, tied=pairs)
    nodes = np.arange(30)
    covariance = free.height_covariance(nodes)
    rows = np.zeros((2, 30))
    rows[[0, 1], [25, 28]], rows[[0, 1], [5, 2]] = 1.0, -1.0
    gain = covariance @ rows.T @ np.linalg.inv(rows @ covariance @ rows.T + 0.25 * np.eye(2))
    assert tied.height_m == pytest.approx(free.height_m - gain @ rows @ free.height_m, abs=1e-6)
    assert tied.height_covariance(nodes) == pytest.approx(
        covariance - gain @ rows @ covariance, abs=1e-6
    )


def test_likelihood_is_that_of_dense_regression() -> None:
    """Differences of log-likelihood between noise levels, against the multivariate normal."""
    observed = observations(40, 4)
    observed = replace(observed, unruly=np.zeros(40, dtype=bool))
    noise = expected_noise(1.0, 90.0, TERRAIN)
    likelihood = Likelihood.of(observed.cut([0], 40), noise, 0.006)
    levels = {
        noise: (1.0, 1.0, 1.0, 1.0),
        replace(noise, tile_sd_m=5.0): (1, 5.0 / noise.tile_sd_m, 1, 1),
        replace(noise, wander_sd_m=2.0): (1, 1, 2.0 / noise.wander_sd_m, 1),
        replace(noise, recorded_white_m=0.5): (1, 1, 1, 0.5 / noise.recorded_white_m),
    }
    ours = [likelihood.at(np.log(ratios)).log_likelihood for ratios in levels.values()]
    dense = [_dense_likelihood(observed, level) for level in levels]
    assert np.diff(ours) == pytest.approx(np.diff(dense), abs=2e-3)


def _dense_likelihood(observed: Observed, noise: Noise) -> float:
    height, errors = dense_prior(observed, noise, 0.006)
    n = len(observed)
    prior = block_diag(np.linalg.inv(height), errors)
    identity = np.eye(n)
    zero = np.zeros((n, n))
    design = np.vstack(
        [
            np.hstack([identity, identity, zero, zero])[np.isfinite(observed.tile_m)],
            np.hstack([identity, zero, identity, identity])[np.isfinite(observed.recorded_m)],
        ]
    )
    tile = (noise.tile_white_m2_m / 10.0 + observed.tile_extra_sd_m**2)[
        np.isfinite(observed.tile_m)
    ]
    recorded = noise.recorded_white_m**2 / observed.count[np.isfinite(observed.recorded_m)]
    values = np.concatenate(
        [
            observed.tile_m[np.isfinite(observed.tile_m)],
            observed.recorded_m[np.isfinite(observed.recorded_m)],
        ]
    )
    total = design @ prior @ design.T + np.diag(np.concatenate([tile, recorded]))
    sign, log_determinant = np.linalg.slogdet(total)
    assert sign > 0
    return float(-0.5 * (log_determinant + values @ np.linalg.solve(total, values)))
