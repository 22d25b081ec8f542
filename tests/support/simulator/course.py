"""Courses: where a ride goes, how high the road lies, what it is made of.

A course is made in three steps: a rough line on the island whose ascent suits the character
(`routes.py`), a smooth road along it (this module), and what stands along the road: bridges,
surfaces, shelter, stops.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .characters import Character, Shape
from .noise import FloatArray, gaussian_smooth, ou_at, smooth_waves
from .routes import find_route
from .surfaces import SURFACE_NAMES, SURFACES
from .world import terrain_m, to_geographic

STEP_M = 2.0
EARTHWORKS_SD_M = 45.0
"""Roads are levelled: they follow the ground smoothed over about this length, by cut and fill."""


@dataclass(frozen=True, slots=True)
class Bridge:
    """A bridge: the road stands above the ground that terrain tiles know.

    Attributes
    ----------
    start_m, end_m : float
        Its ends along the course, on the map [m].
    rise_m : float
        Greatest height above the levelled road [m].
    """

    start_m: float
    end_m: float
    rise_m: float


@dataclass(frozen=True, slots=True)
class Stop:
    """A place where the rider stands for a while.

    Attributes
    ----------
    course_m : float
        Where, along the course on the map [m].
    wait_s : float
        How long [s].
    kind : str
        ``"start"``, ``"light"``, ``"turn"``, ``"pause"`` (the recorder is paused too) or ``"end"``.
    """

    course_m: float
    wait_s: float
    kind: str


@dataclass(frozen=True, slots=True)
class Course:
    """A road at even steps of `STEP_M` along the map.

    Arrays have shape (n,), one value per node of the road.

    Attributes
    ----------
    course_m : array
        Distance along the map from the start [m].
    lat_deg, lon_deg, x_m, y_m : array
        Place, geographic and plane.
    height_m : array
        True height of the road surface above the sea [m].
    east, north : array
        Direction of travel, a unit vector [-].
    curvature_per_m : array
        Absolute curvature of the road [1/m].
    surface : int array
        Place of the surface in `SURFACE_NAMES`.
    shelter : array
        Wind at rider height over wind at 10 m [-].
    bridges : tuple of Bridge
    stops : tuple of Stop
        In order of travel, ``start`` first, ``end`` last.
    """

    course_m: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    height_m: FloatArray
    east: FloatArray
    north: FloatArray
    curvature_per_m: FloatArray
    surface: NDArray[np.int64]
    shelter: FloatArray
    bridges: tuple[Bridge, ...]
    stops: tuple[Stop, ...]


def build_course(character: Character, rng: np.random.Generator) -> Course:
    """Draw a course of a character.

    Parameters
    ----------
    character : Character
        The ranges to draw from.
    rng : numpy.random.Generator
        Source of randomness.
    """
    shape, rough_x_m, rough_y_m = find_route(character, rng)
    loop = shape is not Shape.OUT_AND_BACK
    x_m, y_m = _smooth_road(rough_x_m, rough_y_m, shape, rng.uniform(*character.bends_m), rng)
    course_m = STEP_M * np.arange(x_m.size, dtype=np.float64)
    surface = _draw_surfaces(character, course_m, rng)
    bridges = _draw_bridges(character, course_m[-1], rng)
    height_m = _road_height(x_m, y_m, surface, loop, rng) + _bridge_rise(bridges, course_m)
    shelter = _draw_shelter(character, course_m, rng)
    if not loop:
        length_m = course_m[-1]
        x_m, y_m, height_m, surface, shelter = (
            np.concatenate([a, a[-2::-1]]) for a in (x_m, y_m, height_m, surface, shelter)
        )
        course_m = STEP_M * np.arange(x_m.size, dtype=np.float64)
        bridges += tuple(
            Bridge(2.0 * length_m - b.end_m, 2.0 * length_m - b.start_m, b.rise_m)
            for b in reversed(bridges)
        )
    east, north, curvature_per_m = _directions(x_m, y_m)
    lat_deg, lon_deg = to_geographic(x_m, y_m)
    return Course(
        course_m, lat_deg, lon_deg, x_m, y_m, height_m, east, north, curvature_per_m,
        surface, shelter, bridges, _draw_stops(character, course_m[-1], not loop, rng),
    )  # fmt: skip


def _even_steps(x_m: FloatArray, y_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x_m), np.diff(y_m)))])
    at_m = np.arange(0.0, along_m[-1], STEP_M)
    return np.interp(at_m, along_m, x_m), np.interp(at_m, along_m, y_m)


def _smooth_road(
    x_m: FloatArray, y_m: FloatArray, shape: Shape, bends_m: float, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Turn a rough line into a road: rounded corners, then bends across the line."""
    x_m, y_m = _even_steps(x_m, y_m)
    rounding = (5.0 if shape is Shape.STREETS else 50.0) / STEP_M
    x_m, y_m = gaussian_smooth(x_m, rounding), gaussian_smooth(y_m, rounding)
    east, north, _ = _directions(x_m, y_m)
    course_m = STEP_M * np.arange(x_m.size, dtype=np.float64)
    aside_m = bends_m * smooth_waves(rng, course_m, 80.0, 400.0)
    return _even_steps(x_m - north * aside_m, y_m + east * aside_m)


def _directions(x_m: FloatArray, y_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    dx, dy = np.gradient(x_m), np.gradient(y_m)
    length = np.maximum(np.hypot(dx, dy), 1e-9)
    turn = np.gradient(np.unwrap(np.arctan2(dy, dx))) / STEP_M
    return dx / length, dy / length, np.abs(gaussian_smooth(turn, 2.0))


def _road_height(
    x_m: FloatArray,
    y_m: FloatArray,
    surface: NDArray[np.int64],
    loop: bool,
    rng: np.random.Generator,
) -> FloatArray:
    course_m = STEP_M * np.arange(x_m.size, dtype=np.float64)
    levelled_m = gaussian_smooth(terrain_m(x_m, y_m), EARTHWORKS_SD_M / STEP_M, wrap=loop)
    undulation_m = np.array([SURFACES[name].undulation_m for name in SURFACE_NAMES])[surface]
    undulation_m = gaussian_smooth(undulation_m, 20.0 / STEP_M)
    return levelled_m + undulation_m * smooth_waves(rng, course_m, 25.0, 150.0)


def _draw_bridges(
    character: Character, length_m: float, rng: np.random.Generator
) -> tuple[Bridge, ...]:
    count = int(rng.integers(character.bridges[0], character.bridges[1] + 1))
    bridges = []
    # One bridge to each equal part of the course, so that none overlap.
    for part in range(count):
        rise_m = rng.uniform(7.0, 12.0)
        span_m = min(500.0, rise_m * rng.uniform(38.0, 50.0))  # ramps of at most 8 %
        start_m = length_m * (part + rng.uniform(0.15, 0.80)) / count
        start_m = min(start_m, length_m - span_m - 150.0)
        bridges.append(Bridge(float(start_m), float(start_m + span_m), float(rise_m)))
    return tuple(bridges)


def _bridge_rise(bridges: tuple[Bridge, ...], course_m: FloatArray) -> FloatArray:
    rise_m = np.zeros(course_m.size)
    for bridge in bridges:
        part = np.clip((course_m - bridge.start_m) / (bridge.end_m - bridge.start_m), 0.0, 1.0)
        rise_m += bridge.rise_m * 0.5 * (1.0 - np.cos(2.0 * np.pi * part))
    return rise_m


def _draw_surfaces(
    character: Character, course_m: FloatArray, rng: np.random.Generator
) -> NDArray[np.int64]:
    names = list(character.surfaces)
    shares = np.array([character.surfaces[name] for name in names])
    surface = np.zeros(course_m.size, dtype=np.int64)
    at_m, last = 0.0, -1
    while at_m < course_m[-1]:
        odds = shares.copy()
        if last >= 0:
            odds[last] = 0.0
        last = int(rng.choice(odds.size, p=odds / odds.sum()))
        run_m = rng.uniform(*character.surface_run_m) * (0.5 + shares[last])
        if names[last] == "sand":
            run_m = rng.uniform(60.0, 140.0)
        surface[course_m >= at_m] = SURFACE_NAMES.index(names[last])
        at_m += run_m
    return surface


def _draw_shelter(
    character: Character, course_m: FloatArray, rng: np.random.Generator
) -> FloatArray:
    low, high = character.shelter
    wander = ou_at(rng, course_m, 350.0, 0.35 * (high - low))
    return np.clip(0.5 * (low + high) + gaussian_smooth(wander, 15.0), 0.30, 0.75)


def _draw_stops(
    character: Character, length_m: float, turn: bool, rng: np.random.Generator
) -> tuple[Stop, ...]:
    stops = [Stop(0.0, float(rng.integers(3, 20)), "start")]
    count = rng.poisson(character.lights_per_km * character.red_share * length_m / 1_000.0)
    for place_m in rng.uniform(120.0, length_m - 120.0, count):
        stops.append(Stop(float(place_m), float(rng.uniform(*character.wait_s)), "light"))
    if turn:
        stops.append(Stop(0.5 * length_m, float(rng.uniform(5.0, 40.0)), "turn"))
    if rng.random() < 0.35:
        place_m = float(rng.uniform(0.25, 0.75) * length_m)
        stops.append(Stop(place_m, float(rng.uniform(100.0, 420.0)), "pause"))
    stops.append(Stop(length_m - 4.0, float(rng.integers(3, 25)), "end"))
    stops.sort(key=lambda stop: stop.course_m)
    # Two stops closer than a vehicle's length apart would be one.
    apart = [
        stop
        for before, stop in zip([None, *stops], stops, strict=False)
        if before is None or stop.course_m - before.course_m > 12.0 or stop.kind == "end"
    ]
    return tuple(apart)
