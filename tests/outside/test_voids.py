"""Voids of real tiles, and holes punched into them where the height is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

from wherewatt.arrays import FloatArray
from wherewatt.terrain.hgt import VOID, read_tile
from wherewatt.terrain.hgt_tiles import TilePosts
from wherewatt.terrain.interpolate import degrees_to_metres, interpolate
from wherewatt.terrain.source import VOID_SD_PER_M
from wherewatt.terrain.tiles import TileFolder


def test_the_voids_of_a_real_tile_are_filled(shared_data: Path) -> None:
    """N50E010 has 28: each lies within the range of the known posts about it."""
    folder = shared_data / "dem"
    tile = read_tile(folder / "N50E010.hgt").astype(int)
    row, column = np.nonzero(tile == VOID)
    terrain = TileFolder((folder,)).survey(51.0 - row / 1200, 10.0 + column / 1200)
    assert np.all(terrain.void_m > 50.0)
    for place, height in zip(zip(row, column, strict=True), terrain.height_m, strict=True):
        about = tile[place[0] - 12 : place[0] + 13, place[1] - 18 : place[1] + 19]
        assert about[about != VOID].min() <= height <= about.max()
    (note,) = terrain.notes
    assert note.message.startswith("28 places lie over voids of the terrain")


@pytest.mark.parametrize(("name", "latitude"), [("N44W072", 44.5), ("N50E010", 50.5)])
def test_the_stated_uncertainty_covers_the_error(
    shared_data: Path, name: str, latitude: float
) -> None:
    """Holes of 1 to 9 posts' radius: the error over its stated deviation is near 1, not above 1.2.

    The rule is a bound for hilly land, so a gentler tile may stay well below.
    """
    rng = np.random.default_rng(11)
    tile = read_tile(shared_data / "dem" / f"{name}.hgt").astype(np.int16)
    per_degree = degrees_to_metres(latitude)
    spacing = per_degree[0] / 1200, per_degree[1] / 1200
    scores = []
    for _ in range(150):
        row, column = rng.integers(40, 1160, 2)
        part = tile[row - 30 : row + 31, column - 30 : column + 31].copy()
        if (part == VOID).any():
            continue
        scores.append(hole_scores(part, rng.uniform(0.8, 9.0), spacing))
    score = np.sqrt(np.mean(np.square(np.concatenate(scores))))
    assert 0.4 < score < 1.2


def hole_scores(part: np.ndarray, radius: float, spacing: tuple[float, float]) -> FloatArray:
    """Errors over stated deviations at the posts of a round hole in the middle."""
    across, along = np.mgrid[-30:31, -30:31]
    hole = np.hypot(across, along) <= radius
    holed = np.where(hole, VOID, part).astype(np.int16)
    row, column = (place.astype(float) for place in np.nonzero(hole))
    height, void_m = interpolate(TilePosts(holed), row, column, spacing)
    # An independent distance to the nearest known post.
    assert void_m == pytest.approx(distance_transform_edt(hole, sampling=spacing)[hole])
    return (height - part[hole]) / (VOID_SD_PER_M * void_m)
