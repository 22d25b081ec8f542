"""Climb, descent, flat: at least 2 % either way, held for at least 100 m and 3 m of height."""

from __future__ import annotations

import numpy as np
import pytest

from tests.sections.builders import CONFIG, ramp
from wherewatt.arrays import FloatArray, runs
from wherewatt.sections.terrain_class import CLASSES, TerrainClass, terrain_labels

SPACING_M = 10.0
GRID = np.arange(0.0, 4000.1, SPACING_M)


def stretches(height_m: FloatArray) -> list[tuple[TerrainClass, int, int]]:
    """Class, start and end [m] of every stretch that is not flat."""
    labels = terrain_labels(height_m, SPACING_M, 0.0, CONFIG.sections)
    return sorted(
        (
            (kind, 10 * first, 10 * end)
            for number, kind in enumerate(CLASSES)
            if kind is not TerrainClass.FLAT
            for first, end in runs(labels == number)
        ),
        key=lambda stretch: stretch[1],
    )


@pytest.mark.parametrize(
    ("grade", "length_m"),
    [
        (0.08, 100.0),
        (0.04, 150.0),
        (0.03, 150.0),
        (0.03, 300.0),
        (0.025, 200.0),
        (0.025, 500.0),
        (0.022, 1000.0),
    ],
)
def test_what_holds_the_thresholds_is_a_climb(grade: float, length_m: float) -> None:
    found = stretches(ramp(GRID, 1000.0, length_m, grade))
    assert [kind for kind, _, _ in found] == [TerrainClass.CLIMB]
    assert found[0][1] == pytest.approx(1000.0, abs=30.0)
    assert found[0][2] == pytest.approx(1000.0 + length_m, abs=30.0)
    mirrored = stretches(-ramp(GRID, 1000.0, length_m, grade))
    assert mirrored == [(TerrainClass.DESCENT, *found[0][1:])]


@pytest.mark.parametrize(
    ("grade", "length_m"),
    [(0.0, 1000.0), (0.012, 1500.0), (0.018, 600.0), (0.05, 40.0), (0.025, 110.0), (0.06, 30.0)],
    ids=["level", "gentle", "just below", "a kerb", "too low", "a ramp"],
)
def test_what_does_not_is_flat(grade: float, length_m: float) -> None:
    assert stretches(ramp(GRID, 1000.0, length_m, grade)) == []


def test_over_a_hill() -> None:
    height = ramp(GRID, 500.0, 800.0, 0.05) - ramp(GRID, 1500.0, 1000.0, 0.04)
    kinds = [kind for kind, _, _ in stretches(height)]
    assert kinds == [TerrainClass.CLIMB, TerrainClass.DESCENT]


def test_a_dip_in_a_climb_does_not_cut_it() -> None:
    height = ramp(GRID, 500.0, 2000.0, 0.05) - ramp(GRID, 1500.0, 30.0, 0.06)
    assert [kind for kind, _, _ in stretches(height)] == [TerrainClass.CLIMB]


@pytest.mark.parametrize("seed", range(5))
def test_noise_does_not_shred_a_ride(seed: int) -> None:
    """Half a metre of noise alike over 60 m, on flat ground and on a climb."""
    rng = np.random.default_rng(seed)
    noise = np.convolve(rng.normal(0.0, 1.0, len(GRID) + 6), np.ones(6) / 6.0, "valid")[: len(GRID)]
    noise *= 0.5 / noise.std()
    assert len(stretches(noise)) <= 1
    assert len(stretches(noise + ramp(GRID, 1000.0, 1500.0, 0.05))) <= 2


def test_every_stretch_is_long_and_high_enough() -> None:
    rng = np.random.default_rng(11)
    height = np.cumsum(np.convolve(rng.normal(0.0, 0.5, len(GRID) + 9), np.ones(10) / 10, "valid"))
    for _, start, end in stretches(height):
        rise = abs(np.interp(end, GRID, height) - np.interp(start, GRID, height))
        assert rise >= CONFIG.sections.least_height_m
        assert end - start >= CONFIG.sections.shortest_grade_m or start == 0
