"""Voids: filled from their rim, with a note and less certainty."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.terrain.tile_files import SIDE, write_hgt
from wherewatt.terrain.hgt import VOID
from wherewatt.terrain.hgt_tiles import TilePosts
from wherewatt.terrain.interpolate import interpolate
from wherewatt.terrain.source import VOID_SD_PER_M
from wherewatt.terrain.tiles import TileFolder

SPACING_M = 90.0, 60.0


def at(heights: np.ndarray, row: list[float], column: list[float]) -> tuple[np.ndarray, np.ndarray]:
    tile = TilePosts(heights.astype(np.int16))
    return interpolate(tile, np.array(row), np.array(column), SPACING_M)


def test_corner_that_is_void() -> None:
    height, void_m = at(np.array([[10, 10], [10, VOID]]), [0.5, 0.0, 1.0, 1.0], [0.5, 0.0, 1.0, 0])
    assert height == pytest.approx([10.0] * 4)
    assert void_m == pytest.approx([60.0 / 4.0, 0.0, 60.0, 0.0])


def test_weights_fall_with_the_cube_of_distance() -> None:
    """Two rim posts, one twice as far: weights 8 to 1 (Shepard 1968)."""
    heights = np.full((2, 6), VOID)
    heights[0, 1], heights[0, 4] = 100, 190
    height, void_m = at(heights, [0.0], [2.0])
    assert height == pytest.approx([110.0])
    assert void_m == pytest.approx([60.0])


def test_a_fill_stays_within_its_rim() -> None:
    rng = np.random.default_rng(8)
    heights = rng.integers(0, 500, (40, 40))
    inside = heights.copy()
    inside[10:30, 12:28] = VOID
    place = rng.uniform([10, 12], [29, 27], (200, 2)).T
    height, void_m = at(inside, place[0].tolist(), place[1].tolist())
    rim = heights[9:31, 11:29]
    assert np.all((height >= rim.min()) & (height <= rim.max()))
    assert np.all(void_m <= 9 * 60.0)


def test_nothing_within_a_kilometre() -> None:
    heights = np.full((50, 50), VOID)
    heights[:, 0] = 7
    height, void_m = at(heights, [25, 25, 25], [16, 17, 40])
    assert height == pytest.approx([7, np.nan, np.nan], nan_ok=True)
    assert void_m == pytest.approx([960.0, np.inf, np.inf])


def test_uncertainty_grows_continuously_into_a_void() -> None:
    heights = np.full((30, 30), 50)
    heights[8:22, 8:22] = VOID
    column = np.linspace(5.0, 14.0, 200)
    height, void_m = at(heights, [14.5] * 200, column.tolist())
    assert height == pytest.approx(np.full(200, 50.0))
    assert np.all(void_m[column <= 7.0] == 0.0)
    steps = np.diff(void_m)
    assert np.all(steps >= -1e-9)
    assert steps.max() < 60.0 * 9.0 / 199.0 * 1.01


@pytest.mark.parametrize("impossible", [VOID, -9999, 9999, 32767])
def test_note_and_extra_uncertainty(tmp_path: Path, impossible: int) -> None:
    heights = np.full((SIDE, SIDE), 640, dtype=np.int16)
    heights[598:603, 598:603] = impossible
    write_hgt(tmp_path, "N46E007", heights)
    longitude = 7.5 + np.array([0.0, 1.0, 10.0]) / 1200.0
    terrain = TileFolder((tmp_path,)).survey(np.full(3, 46.5), longitude)
    assert terrain.height_m == pytest.approx([640.0] * 3)
    east_m = 92.66 * np.cos(np.deg2rad(46.5))  # 3″ on a sphere of 6371 km
    assert terrain.void_m == pytest.approx([3 * east_m, 2 * east_m, 0.0], rel=2e-3, abs=1e-6)
    assert terrain.extra_sd_m == pytest.approx(VOID_SD_PER_M * terrain.void_m)
    (note,) = terrain.notes
    assert note.code == "terrain-voids"
    assert note.message == "2 places lie over voids of the terrain: filled from up to 191 m away"
