"""Noise levels of the height sources, from the ride itself.

A phone, a barometer and a terrain tile err differently, and every ride differs. Four levels are
chosen as the most probable ones given both heights, with everything else integrated out (the
marginal likelihood of the model times a log-normal prior). Some 20 km tell them well enough, so
longer rides are looked at in some stretches only.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.terrain.likelihood import LEVELS, Likelihood
from wherewatt.terrain.model import Noise, Observed
from wherewatt.terrain.settings import TerrainSettings

_FARTHEST = 4.0  # spreads of the prior
_FEWEST_NODES = 20
_THIN_M = 20.0  # spacing of the grid on which levels are compared
_MOST_NODES = 1000  # of that grid
_STRETCHES = 4  # … in so many pieces, if the ride is longer
_MOST_STEPS = 8
_LEAST_GAIN = 0.5  # of log-likelihood: a standard deviation; a step that promises less is the last
_LONGEST_STEP = 1.0  # of a logarithm


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
    """The most probable levels."""
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
    likelihood = Likelihood.of(_stretches(observed), expected, settings.unruly_walk_per_root_m)
    return _scaled(expected, _highest(likelihood, spreads))


def _stretches(observed: Observed) -> Observed:
    """What levels are compared on: a coarser grid, and of a long ride some stretches."""
    step = max(1, min(round(_THIN_M / observed.spacing_m), len(observed) // _FEWEST_NODES))
    if observed.new_datum.any():
        step = 1  # thinning would mix heights on either side of a new datum
    count = -(-len(observed) // step)
    if count <= _MOST_NODES:
        return observed.cut([0], len(observed)).thinned(step)
    length = _MOST_NODES // _STRETCHES
    starts = (step * np.linspace(0, count - length, _STRETCHES).astype(int)).tolist()
    return observed.cut(starts, step * (length - 1) + 1).thinned(step)


def _scaled(noise: Noise, logs: FloatArray) -> Noise:
    grade, tile, wander, white = np.exp(logs).tolist()
    return replace(
        noise,
        grade_walk_per_root_m=noise.grade_walk_per_root_m * grade,
        tile_sd_m=noise.tile_sd_m * tile,
        wander_sd_m=noise.wander_sd_m * wander,
        recorded_white_m=noise.recorded_white_m * white,
    )


def _highest(likelihood: Likelihood, spreads: FloatArray) -> FloatArray:
    """The place of highest posterior, by Newton's steps within what the prior allows.

    A step that leads down is halved. The search ends when the next step will promise next to
    nothing: promises shrink from step to step at least as they did last. Slopes of a long ride are
    rough ones.
    """
    farthest = _FARTHEST * spreads
    precision = np.divide(1.0, np.square(spreads), out=np.zeros(LEVELS), where=spreads > 0)
    place, trial, slope = np.zeros((3, LEVELS))
    best, before, rough = -np.inf, 0.0, likelihood.stretches > 1
    for number in range(_MOST_STEPS):
        here = likelihood.at(trial)
        height = here.log_likelihood - 0.5 * float(precision @ trial**2)
        if height >= best:
            place, best = trial, height
            slope = likelihood.slope(here, spreads > 0, rough=rough) - precision * place
            free = (spreads > 0) & ((np.abs(place) < farthest) | (slope * place < 0))
            information = likelihood.information(here) + np.diag(precision)
            step = _step(slope, information, free)
            trial = np.clip(place + step, -farthest, farthest)
        else:
            trial = (place + trial) / 2.0
        promise = 0.5 * float(slope @ (trial - place))
        left = promise * min(1.0, promise / (before or promise or 1.0))
        if left < _LEAST_GAIN and (number or not rough):
            break
        before = promise
    return trial


def _step(slope: FloatArray, information: FloatArray, free: BoolArray) -> FloatArray:
    """Newton's step along the free axes, of bounded length."""
    step = np.zeros(len(slope))
    step[free] = np.linalg.solve(information[free][:, free], slope[free])
    return step / max(1.0, float(np.abs(step).max()) / _LONGEST_STEP)
