"""Rough lines on the island whose length and ascent suit a character.

Many lines are drawn; the one whose ascent comes nearest to what was asked, without going too
near the shore or too steep, is taken.
"""

from __future__ import annotations

import math

import numpy as np

from .characters import Character, Shape
from .noise import FloatArray, gaussian_smooth
from .world import SHORE_RADIUS_M, terrain_m

CANDIDATES = 60
STEEPEST = 0.11
"""Grade beyond which a rough line counts as too steep for a road [-]."""
_SPACING_M = 40.0


def find_route(
    character: Character, rng: np.random.Generator
) -> tuple[Shape, FloatArray, FloatArray]:
    """Find a rough line for a course.

    Parameters
    ----------
    character : Character
        Shapes, length and ascent to look for.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    shape : Shape
        The shape drawn.
    x_m, y_m : array, shape (n,)
        Plane places [m] of the line; an out-and-back course has its outward half only.
    """
    shape = character.shapes[rng.integers(len(character.shapes))]
    length_m = rng.uniform(*character.length_m)
    wanted = rng.uniform(*character.ascent_per_km_m)
    if shape is Shape.OUT_AND_BACK:
        length_m *= 0.5
    draw = {Shape.LOOP: _loop, Shape.OUT_AND_BACK: _wandering, Shape.STREETS: _streets}[shape]
    best, best_score = None, math.inf
    for _ in range(CANDIDATES):
        x_m, y_m = draw(length_m, rng)
        score = _misfit(x_m, y_m, wanted, shape)
        if score < best_score:
            best, best_score = (x_m, y_m), score
    assert best is not None
    return shape, *best


def _misfit(x_m: FloatArray, y_m: FloatArray, wanted: float, shape: Shape) -> float:
    """How badly a line suits: relative error of the ascent, steepness, nearness of the sea."""
    height_m = gaussian_smooth(terrain_m(x_m, y_m), 1.2)
    climb_m = np.diff(height_m)
    run_m = np.hypot(np.diff(x_m), np.diff(y_m))
    ascent_m = climb_m.clip(min=0.0).sum()
    if shape is Shape.OUT_AND_BACK:  # what falls on the way out climbs on the way home
        ascent_m = 0.5 * np.abs(climb_m).sum()
    ascent_per_km = 1_000.0 * ascent_m / run_m.sum()
    steep = np.quantile(np.abs(climb_m) / np.maximum(run_m, 1.0), 0.97)
    wet = np.mean(np.hypot(x_m, y_m) > SHORE_RADIUS_M - 1_800.0)
    return float(abs(ascent_per_km / wanted - 1.0) + 20.0 * max(0.0, steep - STEEPEST) + 20.0 * wet)


def _place(radius_m: float, rng: np.random.Generator) -> tuple[float, float]:
    distance_m = radius_m * math.sqrt(rng.random())
    bearing = rng.uniform(0.0, 2.0 * math.pi)
    return distance_m * math.sin(bearing), distance_m * math.cos(bearing)


def _loop(length_m: float, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    angle = np.linspace(0.0, 2.0 * math.pi, int(length_m / _SPACING_M) + 1)
    radius = np.ones(angle.size)
    for order in range(2, 10):
        radius += rng.normal(0.0, 0.30 / order) * np.cos(order * angle + rng.uniform(0.0, 6.3))
    radius = np.maximum(radius, 0.25)
    x_m, y_m = radius * np.cos(angle), radius * np.sin(angle)
    scale = length_m / np.hypot(np.diff(x_m), np.diff(y_m)).sum()
    centre_x_m, centre_y_m = _place(10_000.0, rng)
    turn = rng.choice([-1.0, 1.0])  # either way round
    return centre_x_m + scale * x_m, centre_y_m + turn * scale * y_m


def _wandering(length_m: float, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    count = int(length_m / _SPACING_M) + 1
    bearing = rng.uniform(0.0, 2.0 * math.pi) + gaussian_smooth(
        0.12 * np.cumsum(rng.standard_normal(count)), 6.0
    )
    x_m, y_m = _place(11_000.0, rng)
    return (
        x_m + _SPACING_M * np.cumsum(np.sin(bearing)),
        y_m + _SPACING_M * np.cumsum(np.cos(bearing)),
    )


def _streets(length_m: float, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """A loop pulled onto a grid of streets, its corners joined square."""
    block_m = rng.uniform(140.0, 230.0)
    loop_x_m, loop_y_m = _loop(0.80 * length_m, rng)
    every = int(rng.integers(10, 20))
    corner_x = np.rint(loop_x_m[::every] / block_m) * block_m
    corner_y = np.rint(loop_y_m[::every] / block_m) * block_m
    corners = [(corner_x[0], corner_y[0])]
    for east, north in zip([*corner_x[1:], corner_x[0]], [*corner_y[1:], corner_y[0]], strict=True):
        elbow = (east, corners[-1][1]) if rng.random() < 0.5 else (corners[-1][0], north)
        corners += [elbow, (east, north)]
    x_m, y_m = np.array(corners).T
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x_m), np.diff(y_m)))])
    at_m = np.arange(0.0, along_m[-1], 10.0)
    angle = rng.uniform(0.0, 0.5 * math.pi)
    x_m, y_m = np.interp(at_m, along_m, x_m), np.interp(at_m, along_m, y_m)
    return (
        x_m * math.cos(angle) - y_m * math.sin(angle),
        x_m * math.sin(angle) + y_m * math.cos(angle),
    )
