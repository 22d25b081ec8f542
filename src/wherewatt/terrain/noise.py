"""Noise levels of the height sources, from the ride itself.

A phone, a barometer and a terrain tile err differently, and every ride differs. Four levels are
chosen as the most probable ones given both heights, with everything else integrated out (the
marginal likelihood of the model times a log-normal prior).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.terrain.model import Noise, Observed, solve
from wherewatt.terrain.settings import TerrainSettings

_SWEEPS = 3
_STEP = 0.7  # of a logarithm, halved with each sweep
_FARTHEST = 4.0  # spreads of the prior
_FEWEST_NODES = 20
_THIN_M = 20.0  # spacing of the grid on which levels are compared


def expected_noise(noise_m: float, post_spacing_m: float, settings: TerrainSettings) -> Noise:
    """Levels before the ride is looked at, but for the white noise of its recording.

    A noisy recording is taken to wander like a phone's, a quiet one like a barometer's.
    """
    wander = settings.wander_per_square_m * noise_m**2
    return Noise(
        grade_walk_per_root_m=settings.grade_walk_per_root_m,
        tile_sd_m=settings.tile_sd_m,
        tile_length_m=settings.tile_correlation_m,
        tile_white_m2_m=settings.tile_white_m**2 * post_spacing_m,
        wander_sd_m=float(np.clip(wander, settings.least_wander_m, settings.most_wander_m)),
        wander_s=settings.wander_s,
        weather_walk_m_per_root_s=settings.weather_walk_m_per_root_s,
        recorded_white_m=noise_m,
    )


def likeliest_noise(observed: Observed, expected: Noise, settings: TerrainSettings) -> Noise:
    """The most probable levels, by a search along one after the other."""
    step = min(round(_THIN_M / observed.spacing_m), len(observed) // _FEWEST_NODES)
    # Thinning would mix heights on either side of a new datum.
    thin = observed.thinned(1 if observed.new_datum.any() else max(1, step))
    spreads = np.array(
        [
            settings.grade_walk_spread,
            settings.tile_sd_spread if observed.has_tile else 0.0,
            settings.wander_spread if observed.has_recording else 0.0,
            settings.white_spread if observed.has_recording else 0.0,
        ]
    )
    if not observed.has_tile:
        spreads[2] = 0.0  # nothing to compare with: what wanders and what climbs looks alike
    free = spreads > 0
    farthest = _FARTHEST * spreads

    def score(logs: FloatArray) -> float:
        prior = -0.5 * float(np.sum(np.square(logs[free] / spreads[free])))
        levels = _scaled(expected, np.clip(logs, -farthest, farthest))
        found = solve(thin, levels, unruly_walk_per_root_m=settings.unruly_walk_per_root_m)
        return found.log_likelihood + prior

    logs = _highest(score, np.flatnonzero(free).tolist(), np.zeros(len(spreads)))
    return _scaled(expected, np.clip(logs, -farthest, farthest))


def _scaled(noise: Noise, logs: FloatArray) -> Noise:
    grade, tile, wander, white = np.exp(logs)
    return replace(
        noise,
        grade_walk_per_root_m=noise.grade_walk_per_root_m * float(grade),
        tile_sd_m=noise.tile_sd_m * float(tile),
        wander_sd_m=noise.wander_sd_m * float(wander),
        recorded_white_m=noise.recorded_white_m * float(white),
    )


def _highest(
    score: Callable[[FloatArray], float], axes: list[int], start: FloatArray
) -> FloatArray:
    """A place of high score: parabolas along one axis after the other."""
    place, best = start.copy(), score(start)
    for sweep in range(_SWEEPS):
        for axis in axes:
            place, best = _along(score, place, best, axis, _STEP / 2.0**sweep)
    return place


def _along(
    score: Callable[[FloatArray], float], place: FloatArray, best: float, axis: int, step: float
) -> tuple[FloatArray, float]:
    """The best of a parabola through three places along an axis, and those three."""

    def at(shift: float) -> FloatArray:
        moved = place.copy()
        moved[axis] += shift
        return moved

    below, above = score(at(-step)), score(at(step))
    bend = below - 2.0 * best + above
    shift = 2.0 * step * float(np.sign(above - below))
    if bend < 0:
        shift = float(np.clip(0.5 * step * (below - above) / bend, -2.0 * step, 2.0 * step))
    tried = [(score(at(shift)), shift), (best, 0.0), (below, -step), (above, step)]
    highest, chosen = max(tried)
    return at(chosen), highest
