"""The information matrix of the heights along a ride, in bands.

The unknowns are ordered node by node, so that those that hang together lie near each other. Row u
of the bands holds the diagonal of unknown u and what lies below it.

What is added to the matrix for each source is kept apart by the level that scales it, see `Parts`:
a search among levels adds the same parts up again.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.terrain.model import (
    HEIGHT,
    STATES,
    TILE_ERROR,
    WANDER,
    WEATHER,
    Noise,
    Observed,
)

BAND = 2 * STATES  # second differences of height couple nodes two apart
_LOOSE_M = 1e3  # standard deviation of a level of which nothing is known
_DATUM_M = 100.0  # heights above the ellipsoid and above the sea differ by up to this
_STEEP = 0.5  # no road is as steep; holds the height where nothing was recorded for kilometres
_LEAST_LOSS = 1e-6  # of a Gauss–Markov error between nodes passed at the same moment


class Parts(NamedTuple):
    """Bands (4k, 9) to add to, by the level whose inverse square scales what is added.

    They may be one and the same array.

    Parameters
    ----------
    grade : scaled by how fast the grade of the road changes.
    tile : … by the spread of the tile's error.
    wander : … by the spread of the satellite error.
    recorded : … by the white noise of a recorded height.
    rest : not scaled.
    """

    grade: FloatArray
    tile: FloatArray
    wander: FloatArray
    recorded: FloatArray
    rest: FloatArray


def information(observed: Observed, noise: Noise, unruly_walk_per_root_m: float) -> FloatArray:
    """(4k, 9) the information matrix, in bands."""
    bands = np.zeros((STATES * len(observed), BAND + 1))
    add_information(Parts(*(bands,) * 5), observed, noise, unruly_walk_per_root_m)
    return bands


def add_information(parts: Parts, observed: Observed, noise: Noise, unruly_walk: float) -> None:
    """Add what is known of the road and of the errors, and what was observed."""
    _add_road(parts, observed, noise, unruly_walk)
    _add_tile_error(parts.tile[TILE_ERROR::STATES], observed.spacing_m, noise)
    keep = np.exp(-observed.leg_s / noise.wander_s)
    spread = noise.wander_sd_m
    weight = 1.0 / (np.maximum(1.0 - keep**2, _LEAST_LOSS) * spread**2)
    _add_chain(parts.wander[WANDER::STATES], keep, weight, 1.0 / spread**2)
    walked = np.maximum(observed.leg_s, 0.1) * noise.weather_walk_m_per_root_s**2
    walked[observed.new_datum] += _DATUM_M**2
    # Without terrain to compare with, the recording's datum is that of the height.
    datum = _DATUM_M if observed.has_tile else noise.recorded_white_m
    _add_chain(parts.rest[WEATHER::STATES], 1.0, 1.0 / walked, 1.0 / datum**2)
    tile, recorded = weights(observed, noise)
    _add_observations(parts.rest, tile, (TILE_ERROR,))
    _add_observations(parts.recorded, recorded, (WANDER, WEATHER))


def weights(observed: Observed, noise: Noise) -> tuple[FloatArray, FloatArray]:
    """(k,) weights of the tile and of the recording [1/m²]; 0 where there is none."""
    tile_variance = noise.tile_white_m2_m / observed.spacing_m + observed.tile_extra_sd_m**2
    tile = np.where(np.isfinite(observed.tile_m), 1.0 / tile_variance, 0.0)
    recorded = np.where(
        np.isfinite(observed.recorded_m), observed.count / noise.recorded_white_m**2, 0.0
    )
    return tile, recorded


def right_side(tile: FloatArray, recorded: FloatArray) -> FloatArray:
    """(4k,) pulls on the unknowns, from those on what the tile and the recording show (k,)."""
    side = np.empty((len(tile), STATES))
    side[:, HEIGHT] = tile + recorded
    side[:, TILE_ERROR] = tile
    side[:, WANDER] = side[:, WEATHER] = recorded
    return side.ravel()


def _add_observations(bands: FloatArray, weight: FloatArray, errors: tuple[int, ...]) -> None:
    """Observations of the height with some errors on top."""
    seen = (HEIGHT, *errors)
    for number, first in enumerate(seen):
        for second in seen[number:]:
            bands[first::STATES, second - first] += weight


def _add_road(parts: Parts, observed: Observed, noise: Noise, unruly_walk: float) -> None:
    """Second differences of height: (h₋ − 2h + h₊)/Δ has variance walk²·Δ."""
    walk = noise.grade_walk_per_root_m
    bend = 1.0 / (walk**2 * observed.spacing_m**3)
    unruly = observed.unruly[1:-1]
    _add_bends(parts.grade[HEIGHT::STATES], np.where(unruly, 0.0, bend))
    if unruly.any():
        softer = bend * (walk / max(walk, unruly_walk)) ** 2
        _add_bends(parts.rest[HEIGHT::STATES], np.where(unruly, softer, 0.0))
    slope = np.full(len(observed) - 1, 1.0 / (_STEEP * observed.spacing_m) ** 2)
    _add_chain(parts.rest[HEIGHT::STATES], 1.0, slope, 1.0 / _LOOSE_M**2)


def _add_bends(
    band: FloatArray, weight: FloatArray | float, before: float = 1.0, here: float = -2.0
) -> None:
    """Second differences before·x₋ + here·x + x₊ of the given weight (inverse variance)."""
    diagonal, below = np.zeros(len(band)), np.zeros(len(band) - 1)
    diagonal[:-2] = before**2 * weight
    diagonal[1:-1] += here**2 * weight
    diagonal[2:] += weight
    below[:-1] = before * here * weight
    below[1:] += here * weight
    band[:, 0] += diagonal
    band[:-1, STATES] += below
    band[:-2, 2 * STATES] += before * weight


def _add_tile_error(band: FloatArray, spacing_m: float, noise: Noise) -> None:
    """A smooth error, alike over a length: x₊ − 2a·x + a²·x₋ = step, with a = exp(−Δ/length).

    It is the second-order autoregression with a double root, whose correlation is nearly that of
    Matérn with ν = 3/2, (1 + d/length)·exp(−d/length); its variance is that of the step times
    (1 + a²)/(1 − a²)³ (Box and Jenkins 1976, section 3.2.4).
    """
    root = float(np.exp(-spacing_m / noise.tile_length_m))
    variance = noise.tile_sd_m**2
    weight = 1.0 / (variance * (1.0 - root**2) ** 3 / (1.0 + root**2))
    near = 2.0 * root / (1.0 + root**2)  # correlation of neighbours
    first = 1.0 / (variance * (1.0 - near**2))
    _add_bends(band, weight, root**2, -2.0 * root)
    band[0, 0] += 1.0 / variance + near**2 * first
    band[1, 0] += first
    band[0, STATES] -= near * first


def _add_chain(
    band: FloatArray, keep: FloatArray | float, weight: FloatArray, first: float
) -> None:
    """A chain x₊ = keep·x + step, the step of the given weight (inverse variance)."""
    diagonal = np.append(first, weight)
    diagonal[:-1] += keep**2 * weight
    band[:, 0] += diagonal
    band[:-1, STATES] -= keep * weight
