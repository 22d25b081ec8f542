"""The information matrix of the heights along a ride, in bands.

The unknowns are ordered node by node, so that those that hang together lie near each other. Row u
of the bands holds the diagonal of unknown u and what lies below it.

What is added to the matrix for each source is kept apart by the level that scales it, see `Parts`:
a search among levels adds the same parts up again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
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
_FORGOTTEN = 12.0  # lengths behind which one ten-thousandth of the tile's error is left
_LEAST_LOSS = 1e-6  # of a Gauss–Markov error between nodes passed at the same moment
_CACHED = 2000  # nodes whose bands stay in a processor's cache


Term = tuple[int, int, FloatArray]  # a state, how far below it another lies, what joins them (…, k)


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Terms of the matrix, by the level whose inverse square scales them.

    Parameters
    ----------
    by_level : those scaled by how fast the grade of the road changes, by the spread of the tile's
        error, by the spread of the satellite error, by the white noise of a recorded height.
    rest : those that none scales.
    weight : (…, k) weights of the tile and of the recording [1/m²]; 0 where there is none.
    """

    by_level: tuple[list[Term], ...]
    rest: list[Term]
    weight: tuple[FloatArray, FloatArray]


def information(parts: Parts) -> FloatArray:
    """(4k, 9) the information matrix, in bands."""
    total: dict[tuple[int, int], FloatArray] = {}
    for terms in (*parts.by_level, parts.rest):
        for state, below, values in terms:
            known = total.get((state, below))
            total[state, below] = values if known is None else known + values
    count = parts.weight[0].size
    bands = np.zeros((count, STATES, BAND + 1))
    for start in range(0, count, _CACHED):
        node = slice(start, start + _CACHED)
        for (state, below), values in total.items():
            bands[node, state, below] = values.ravel()[node]
    return bands.reshape(-1, BAND + 1)


def add(bands: FloatArray, terms: list[Term], scale: float = 1.0) -> None:
    """Add terms, times a number, to a matrix in bands (4k, 9)."""
    by_node = bands.reshape(-1, STATES, BAND + 1)
    for state, below, values in terms:
        by_node[:, state, below] += scale * values.ravel()


def parts_of(observed: Observed, noise: Noise, unruly_walk_per_root_m: float) -> Parts:
    """What is known of the road and of the errors, and what was observed.

    Parameters
    ----------
    observed : a ride, or stretches of it: arrays (…, k).
    """
    keep = np.exp(-observed.leg_s / noise.wander_s)
    first = 1.0 / noise.wander_sd_m**2
    wander = _chain(WANDER, keep, first / np.maximum(1.0 - keep**2, _LEAST_LOSS), first)
    walked = np.maximum(observed.leg_s, 0.1) * noise.weather_walk_m_per_root_s**2
    walked[observed.new_datum] += _DATUM_M**2
    # Without terrain to compare with, the recording's datum is that of the height.
    known = np.isfinite(observed.tile_m).any(axis=-1)
    datum = np.where(known, _DATUM_M, noise.recorded_white_m)
    weather = _chain(WEATHER, 1.0, 1.0 / walked, 1.0 / datum**2)
    tile, recorded = _weights(observed, noise)
    grade, softer = _road(observed, noise, unruly_walk_per_root_m)
    tile_error = _tile_error(np.isfinite(observed.tile_m), observed.spacing_m, noise)
    return Parts(
        by_level=(grade, tile_error, wander, _seen(recorded, HEIGHT, WANDER, WEATHER)),
        rest=[*softer, *weather, *_seen(tile, HEIGHT, TILE_ERROR)],
        weight=(tile, recorded),
    )


def right_side(tile: FloatArray, recorded: FloatArray) -> FloatArray:
    """(4k,) pulls on the unknowns, from those on what the tile and the recording show (k,)."""
    side = np.empty((len(tile), STATES))
    side[:, HEIGHT] = tile + recorded
    side[:, TILE_ERROR] = tile
    side[:, WANDER] = side[:, WEATHER] = recorded
    return side.ravel()


def _weights(observed: Observed, noise: Noise) -> tuple[FloatArray, FloatArray]:
    tile_variance = noise.tile_white_m2_m / observed.spacing_m + observed.tile_extra_sd_m**2
    tile = np.where(np.isfinite(observed.tile_m), 1.0 / tile_variance, 0.0)
    recorded = np.where(
        np.isfinite(observed.recorded_m), observed.count / noise.recorded_white_m**2, 0.0
    )
    return tile, recorded


def _seen(weight: FloatArray, *states: int) -> list[Term]:
    """Observations of the sum of some states."""
    return [
        (first, second - first, weight)
        for number, first in enumerate(states)
        for second in states[number:]
    ]


def _road(observed: Observed, noise: Noise, unruly_walk: float) -> tuple[list[Term], list[Term]]:
    """Second differences of height: (h₋ − 2h + h₊)/Δ has variance walk²·Δ.

    Returns
    -------
    Terms that the walk scales, and those that it does not.
    """
    walk, shape = noise.grade_walk_per_root_m, observed.tile_m.shape
    bend = 1.0 / (walk**2 * observed.spacing_m**3)
    slope = np.full((*shape[:-1], shape[-1] - 1), 1.0 / (_STEEP * observed.spacing_m) ** 2)
    rest = _chain(HEIGHT, 1.0, slope, 1.0 / _LOOSE_M**2)
    unruly = observed.unruly[..., 1:-1]
    if not unruly.any():
        return _bends(HEIGHT, shape, bend), rest
    softer = bend * (walk / max(walk, unruly_walk)) ** 2
    rest += _bends(HEIGHT, shape, np.where(unruly, softer, 0.0))
    return _bends(HEIGHT, shape, np.where(unruly, 0.0, bend)), rest


def _bends(
    state: int,
    shape: tuple[int, ...],
    weight: FloatArray | float,
    before: float = 1.0,
    here: float = -2.0,
) -> list[Term]:
    """Second differences before·x₋ + here·x + x₊ of the given weight (inverse variance)."""
    diagonal, near, far = np.zeros((3, *shape))
    diagonal[..., :-2] = before**2 * weight
    diagonal[..., 1:-1] += here**2 * weight
    diagonal[..., 2:] += weight
    near[..., :-2] = before * here * weight
    near[..., 1:-1] += here * weight
    far[..., :-2] = before * weight
    return [(state, 0, diagonal), (state, STATES, near), (state, 2 * STATES, far)]


def _tile_error(known: BoolArray, spacing_m: float, noise: Noise) -> list[Term]:
    """A smooth error, alike over a length: x₊ − 2a·x + a²·x₋ = step, with a = exp(−Δ/length).

    It is the second-order autoregression with a double root, whose correlation is nearly that of
    Matérn with ν = 3/2, (1 + d/length)·exp(−d/length); its variance is that of the step times
    (1 + a²)/(1 − a²)³ (Box and Jenkins 1976, section 3.2.4). Where the tile is not known for many
    lengths, it starts anew: there nothing is known of it, and it tells nothing.
    """
    root = float(np.exp(-spacing_m / noise.tile_length_m))
    variance = noise.tile_sd_m**2
    step = 1.0 / (variance * (1.0 - root**2) ** 3 / (1.0 + root**2))
    of_neighbours = 2.0 * root / (1.0 + root**2)  # correlation
    second = 1.0 / (variance * (1.0 - of_neighbours**2))
    anew = _unknown_from(known, round(_FORGOTTEN * noise.tile_length_m / spacing_m))
    weight = np.full(known.shape, step)
    weight.flat[anew - 2] = weight.flat[anew - 1] = 0.0
    terms = _bends(TILE_ERROR, known.shape, weight[..., :-2], root**2, -2.0 * root)
    (_, _, diagonal), (_, _, near), _ = terms
    first = np.append(np.arange(0, known.size, known.shape[-1]), anew)
    diagonal.flat[first] += 1.0 / variance + of_neighbours**2 * second
    diagonal.flat[first + 1] += second
    near.flat[first] -= of_neighbours * second
    return terms


def _unknown_from(known: BoolArray, least: int) -> IntArray:
    """First nodes of long stretches behind what is known; in arrays laid end to end.

    They are never the second of a ride, which hangs on the first.
    """
    at, nodes = np.flatnonzero(known), known.shape[-1]
    row = at - at % nodes
    until = np.minimum(np.append(at[1:], known.size), row + nodes)
    return np.maximum(at + 1, row + 2)[until - at > max(least, 4)]


def _chain(
    state: int, keep: FloatArray | float, weight: FloatArray, first: FloatArray | float
) -> list[Term]:
    """A chain x₊ = keep·x + step, the step of the given weight (inverse variance)."""
    diagonal, near = np.zeros((2, *weight.shape[:-1], weight.shape[-1] + 1))
    near[..., :-1] = -keep * weight
    diagonal[..., 1:] = weight
    diagonal[..., 0] = first
    diagonal[..., :-1] -= keep * near[..., :-1]
    return [(state, 0, diagonal), (state, STATES, near)]
