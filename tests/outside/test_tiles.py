"""Terrain tiles: the layout's own rules, real tiles, and an independent interpolator."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.terrain import convolved, cubic_convolution, grade_errors, island_tile
from scipy.interpolate import RegularGridInterpolator

from tests.terrain.tile_files import write_hgt
from wherewatt.arrays import FloatArray
from wherewatt.errors import TerrainError
from wherewatt.terrain.hgt import VOID, Posts, read_tile, tile_name
from wherewatt.terrain.hgt_tiles import TilePosts
from wherewatt.terrain.interpolate import interpolate
from wherewatt.terrain.tiles import TileFolder

# Real tiles of 3″ (public domain): name, south-west corner, voids.
REAL_TILES = [("N44W072", (44, -72), 0), ("N50E010", (50, 10), 28)]


def bilinear(tile: Posts, row: FloatArray, column: FloatArray) -> FloatArray:
    return interpolate(TilePosts(tile), row, column, (90.0, 60.0))[0]


@pytest.mark.parametrize(
    ("corner", "name"),
    [
        ((38, -105), "N38W105"),
        ((50, 10), "N50E010"),
        ((-38, 144), "S38E144"),
        ((0, 0), "N00E000"),
        ((-1, -1), "S01W001"),
    ],
)
def test_name_is_the_south_west_corner(corner: tuple[int, int], name: str) -> None:
    assert tile_name(*corner) == name


@pytest.mark.parametrize(("side", "size"), [(1201, 2_884_802), (3601, 25_934_402)])
def test_sizes(tmp_path: Path, side: int, size: int) -> None:
    # USGS, SRTM documentation.
    path = write_hgt(tmp_path, "N38W105", np.zeros((side, side)))
    assert path.stat().st_size == size
    assert read_tile(path).shape == (side, side)
    path.write_bytes(path.read_bytes()[:-2])
    with pytest.raises(TerrainError, match=str(size)):
        read_tile(path)


def test_index_of_a_published_example(tmp_path: Path) -> None:
    """Row 752 from north, column 24, 3772 m in tile N38W105 of 1″ (a data set's own example).

    The place lies half-way between posts, so the example's post is one of four of equal weight;
    a quarter of a second to the north-east it is the nearest.
    """
    heights = np.zeros((3601, 3601), dtype=np.int16)
    heights[752, 24] = 3772
    assert 752 * 3601 + 24 == 2_707_976
    write_hgt(tmp_path, "N38W105", heights)
    tiles = TileFolder((tmp_path,))
    place = np.array([38.79097222]), np.array([-104.99347222])
    assert tiles.sample(*place)[0] == pytest.approx(3772 / 4, rel=1e-4)
    quarter = 0.25 / 3600.0
    nearer = tiles.sample(place[0] + quarter, place[1] + quarter)
    assert nearer[0] == pytest.approx(3772 * 0.75**2, rel=1e-4)
    at_the_post = tiles.sample(np.array([39.0 - 752 / 3600]), np.array([-105.0 + 24 / 3600]))
    assert at_the_post[0] == pytest.approx(3772, rel=1e-6)


def test_edges_are_shared(tmp_path: Path) -> None:
    """The last column of a tile is the first of its eastern neighbour."""
    column = np.tile(np.arange(1201), (1201, 1))
    write_hgt(tmp_path, "N46E007", column)
    write_hgt(tmp_path, "N46E008", 1200 + column)
    longitude = 8.0 + np.array([-2.0, -1.0, -0.5, 0.0, 0.5, 1.0]) / 1200.0
    heights = TileFolder((tmp_path,)).sample(np.full(6, 46.5), longitude)
    assert heights == pytest.approx([1198, 1199, 1199.5, 1200, 1200.5, 1201], abs=1e-6)


def test_bilinear_against_scipy() -> None:
    rng = np.random.default_rng(3)
    tile = rng.integers(-50, 4000, (1201, 1201)).astype(np.int16)
    axis = np.arange(1201.0)
    place = rng.uniform(0.0, 1200.0, (2, 500))
    place[:, :3] = [[0.0, 1200.0, 1200.0], [1200.0, 0.0, 1200.0]]  # the corners
    expected = RegularGridInterpolator((axis, axis), tile.astype(float))(place.T)
    assert bilinear(tile, *place) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(("name", "corner", "voids"), REAL_TILES)
def test_real_tile(shared_data: Path, name: str, corner: tuple[int, int], voids: int) -> None:
    folder = shared_data / "dem"
    tile = read_tile(folder / f"{name}.hgt")
    assert np.count_nonzero(tile == VOID) == voids
    rng = np.random.default_rng(5)
    row, column = rng.integers(0, 1201, (2, 200))
    known = tile[row, column] != VOID
    heights = TileFolder((folder,)).sample(
        np.clip(corner[0] + 1.0 - row[known] / 1200.0, corner[0], corner[0] + 1 - 1e-9),
        np.clip(corner[1] + column[known] / 1200.0, corner[1], corner[1] + 1 - 1e-9),
    )
    assert heights == pytest.approx(tile[row[known], column[known]].astype(float), abs=1e-3)


@pytest.mark.parametrize(("name", "corner", "voids"), REAL_TILES)
def test_real_tile_against_scipy(
    shared_data: Path, name: str, corner: tuple[int, int], voids: int
) -> None:
    folder = shared_data / "dem"
    tile = np.asarray(read_tile(folder / f"{name}.hgt"), dtype=float)
    tile[tile == VOID] = np.nan
    north, east = np.arange(1201.0) / 1200.0, np.arange(1201.0) / 1200.0
    table = RegularGridInterpolator((north, east), tile[::-1])
    place = np.random.default_rng(7).uniform(0.0, 1.0, (2, 500))
    expected = table(place.T)
    heights = TileFolder((folder,)).sample(corner[0] + place[0], corner[1] + place[1])
    known = np.isfinite(expected)
    assert known.sum() > 450
    assert heights[known] == pytest.approx(expected[known], abs=1e-6)


def test_cubic_convolution_is_what_keys_describes() -> None:
    """It meets the posts and reproduces quadratics exactly (Keys 1981, sections II and III)."""
    row, column = np.mgrid[0:12, 0:12].astype(float)
    tile = 3.0 + 2.0 * row - column + 0.5 * row**2 - 0.25 * column**2 + 0.125 * row * column
    at = np.random.default_rng(1).uniform(1.0, 9.0, (2, 300))
    expected = 3.0 + 2.0 * at[0] - at[1] + 0.5 * at[0] ** 2 - 0.25 * at[1] ** 2
    expected += 0.125 * at[0] * at[1]
    assert convolved(tile, *at, cubic_convolution) == pytest.approx(expected, abs=1e-9)
    rough = np.random.default_rng(2).uniform(0.0, 100.0, (12, 12))
    post = np.random.default_rng(3).integers(1, 9, (2, 40))
    heights = convolved(rough, *post.astype(float), cubic_convolution)
    assert heights == pytest.approx(rough[post[0], post[1]], abs=1e-9)


def test_why_heights_are_bilinear() -> None:
    """The sharper kernel wins on the ground itself, and loses on a tile with a tile's errors."""
    plain, cubic = grade_errors(island_tile(3, errors=False, whole=False), 1, ["hilly"])
    assert cubic < 0.5 * plain < 0.1
    plain, cubic = grade_errors(island_tile(3, errors=True, whole=True), 1, ["hilly"])
    assert 1.05 * plain < cubic
