"""Small models of a ride's heights, and their matrices written out in full."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from tests.terrain.builders import TERRAIN, correlated
from wherewatt.arrays import FloatArray
from wherewatt.terrain.information import BAND, information, parts_of
from wherewatt.terrain.model import STATES, Noise, Observed
from wherewatt.terrain.noise import expected_noise
from wherewatt.terrain.solution import Pairs, Solution, solve

UNRULY = 0.006
NOISE = expected_noise(1.0, 90.0, TERRAIN)


def drawn(nodes: int, seed: int, noise: Noise = NOISE, *, spacing_m: float = 10.0) -> Observed:
    """A ride over a road whose grade wanders, seen with errors of the given levels."""
    rng = np.random.default_rng(seed)
    leg_s = rng.uniform(1.0, 3.0, nodes - 1)
    at_s = np.concatenate([[0.0], np.cumsum(leg_s)])
    walk = noise.grade_walk_per_root_m * np.sqrt(spacing_m)
    grade = np.cumsum(rng.normal(0.0, walk, nodes))
    height = np.cumsum(grade - np.mean(grade)) * spacing_m
    tile = height + _tile_error(nodes, noise, spacing_m, rng)
    count = rng.integers(0, 4, nodes).astype(np.float64)
    white = rng.normal(0.0, noise.recorded_white_m, nodes) / np.sqrt(np.maximum(count, 1.0))
    recorded = height + correlated(at_s, noise.wander_s, noise.wander_sd_m, rng) + white
    white_tile = np.sqrt(noise.tile_white_m2_m / spacing_m)
    return Observed(
        spacing_m=spacing_m,
        leg_s=leg_s,
        tile_m=tile + rng.normal(0.0, white_tile, nodes),
        tile_extra_sd_m=np.zeros(nodes),
        recorded_m=np.where(count > 0, recorded, np.nan),
        count=count,
        unruly=np.zeros(nodes, dtype=bool),
        new_datum=np.zeros(nodes - 1, dtype=bool),
    )


def _tile_error(nodes: int, noise: Noise, spacing_m: float, rng: np.random.Generator) -> FloatArray:
    """The recursion that `information._tile_error` states, from a start long before."""
    root = np.exp(-spacing_m / noise.tile_length_m)
    step = noise.tile_sd_m * np.sqrt((1.0 - root**2) ** 3 / (1.0 + root**2))
    errors = [0.0, 0.0]
    for kick in rng.normal(0.0, step, nodes + 200):
        errors.append(2.0 * root * errors[-1] - root**2 * errors[-2] + kick)
    return np.array(errors[-nodes:])


def side_by_side(stretches: list[Observed]) -> Observed:
    """Stretches of one length and spacing in one: arrays (j, k) and (j, k−1)."""
    arrays = {
        field.name: np.array([getattr(one, field.name) for one in stretches])
        for field in fields(Observed)
    }
    return replace(Observed(**arrays), spacing_m=stretches[0].spacing_m)


def solved(observed: Observed, noise: Noise = NOISE, tied: Pairs | None = None) -> Solution:
    """The model solved at some levels."""
    return solve(observed, noise, unruly_walk_per_root_m=UNRULY, tied=tied)


def full_information(observed: Observed, noise: Noise = NOISE) -> FloatArray:
    """(4k, 4k) the information matrix."""
    bands = information(parts_of(observed, noise, UNRULY))
    size = STATES * len(observed)
    full = np.zeros((size, size))
    for below in range(BAND + 1):
        at = np.arange(size - below)
        full[at + below, at] = full[at, at + below] = bands[at, below]
    return full
