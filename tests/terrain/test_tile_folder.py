"""Tiles in folders: found, opened once, refused when broken, right on every edge."""

from __future__ import annotations

import gzip
import zipfile
from pathlib import Path

import numpy as np
import pytest

from tests.terrain.tile_files import SIDE, ground_tile, tile_bytes, write_hgt
from wherewatt.errors import TerrainError
from wherewatt.terrain import tiles
from wherewatt.terrain.hgt import VOID, read_tile
from wherewatt.terrain.tiles import TileFolder, terrain_folders

PLACE = np.array([46.25]), np.array([7.5])


def write_packed(path: Path, height: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".hgt":
        path.write_bytes(tile_bytes(height))
    elif path.suffix == ".gz":
        path.write_bytes(gzip.compress(tile_bytes(height), compresslevel=1))
    else:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(path.name.removesuffix(".zip"), tile_bytes(height))


@pytest.mark.parametrize("ending", [".hgt", ".hgt.gz", ".hgt.zip"])
@pytest.mark.parametrize("stem", ["N46E007", "n46e007", "N46/N46E007", "n46/n46e007"])
def test_plain_and_packed_flat_and_by_band(tmp_path: Path, ending: str, stem: str) -> None:
    write_packed(tmp_path / f"{stem}{ending}", 512)
    assert TileFolder((tmp_path,)).sample(*PLACE)[0] == 512.0


def test_a_band_holds_only_its_own_tiles(tmp_path: Path) -> None:
    write_packed(tmp_path / "N47" / "N46E007.hgt", 512)
    assert np.isnan(TileFolder((tmp_path,)).sample(*PLACE)[0])


def test_first_folder_wins(tmp_path: Path) -> None:
    for name, height in (("fine", 1), ("coarse", 2)):
        write_packed(tmp_path / name / "N46E007.hgt", height)
    folders = tmp_path / "fine", tmp_path / "coarse"
    assert TileFolder(folders).sample(*PLACE)[0] == 1.0
    assert TileFolder(folders[::-1]).sample(*PLACE)[0] == 2.0


def test_next_folder_fills_in(tmp_path: Path) -> None:
    """No tile, or a void in it: the next folder is asked before the void is filled."""
    holed = np.full((3601, 3601), 100, dtype=np.int16)
    holed[1790:1810, 1790:1810] = VOID
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
    write_hgt(tmp_path / "first", "N46E007", holed)
    for tile in ("N46E007", "N46E008"):
        write_hgt(tmp_path / "second", tile, np.full((SIDE, SIDE), 200))
    place = np.full(4, 46.5), np.array([7.25, 7.5, 8.5, 9.5])
    terrain = TileFolder((tmp_path / "first", tmp_path / "second")).survey(*place)
    assert terrain.height_m == pytest.approx([100, 200, 200, np.nan], nan_ok=True)
    assert terrain.extra_sd_m.tolist() == [0.0] * 4
    assert terrain.void_m.tolist() == [0.0, 0.0, 0.0, np.inf]
    assert terrain.post_spacing_m == pytest.approx([31, 93, 93, np.nan], abs=1, nan_ok=True)
    assert terrain.notes == ()


def test_a_filled_void_outlives_a_folder_without_the_tile(tmp_path: Path) -> None:
    holed = np.full((SIDE, SIDE), 100, dtype=np.int16)
    holed[600, 600] = VOID
    write_hgt(tmp_path, "N46E007", holed)
    (tmp_path / "empty").mkdir()
    terrain = TileFolder((tmp_path, tmp_path / "empty")).survey(np.array([46.5]), np.array([7.5]))
    assert terrain.height_m == pytest.approx([100.0])


def test_a_place_that_is_not_known(tmp_path: Path) -> None:
    write_hgt(tmp_path, "N46E007", np.full((SIDE, SIDE), 100))
    heights = TileFolder((tmp_path,)).sample(np.array([np.nan, 46.5]), np.array([7.5, 7.5]))
    assert heights == pytest.approx([np.nan, 100.0], nan_ok=True)
    assert np.isnan(TileFolder((tmp_path,)).sample(np.array([np.nan]), np.array([7.5])))
    assert TileFolder((tmp_path,)).sample(np.array([]), np.array([])).shape == (0,)
    assert np.isnan(TileFolder(()).sample(*PLACE)[0])


def test_fetch_is_asked_once_for_what_no_folder_has(tmp_path: Path) -> None:
    asked = []
    path = tmp_path / "elsewhere.hgt"
    path.write_bytes(tile_bytes(77))

    def fetch(south: int, west: int) -> Path | None:
        asked.append((south, west))
        return path if west == 7 else None

    folder = TileFolder((), fetch)
    assert folder.sample(*PLACE)[0] == 77.0
    folder.sample(*PLACE)
    for _ in range(2):
        assert np.isnan(folder.sample(np.array([46.5]), np.array([8.5]))[0])
    assert asked == [(46, 7), (46, 8)]


def test_a_void_is_no_reason_to_fetch(tmp_path: Path) -> None:
    write_hgt(tmp_path, "N46E007", np.full((SIDE, SIDE), VOID))

    def fetch(south: int, west: int) -> Path | None:
        raise AssertionError(f"asked for {south} {west}")

    assert np.isnan(TileFolder((tmp_path,), fetch).sample(*PLACE)[0])


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("N46E007.hgt", b"short"),
        ("N46E007.hgt.gz", b"not gzip"),
        ("N46E007.hgt.zip", b"not a zip"),
        ("N46E007.hgt.gz", gzip.compress(tile_bytes(1), compresslevel=1)[:1000]),
    ],
)
def test_broken_tile(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(TerrainError) as caught:
        TileFolder((tmp_path,)).sample(*PLACE)
    assert str(caught.value).startswith(name)
    assert "\n" not in str(caught.value)


def test_archive_without_a_tile(tmp_path: Path) -> None:
    path = tmp_path / "N46E007.hgt.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("readme.txt", "nothing here")
    with pytest.raises(TerrainError, match=r"0 \.hgt files"):
        read_tile(path)


def test_folder_that_is_not_there(tmp_path: Path) -> None:
    assert terrain_folders((tmp_path,)) == (tmp_path,)
    with pytest.raises(TerrainError, match="no such folder"):
        terrain_folders((tmp_path / "nowhere",))


def test_all_edges_and_corners_of_a_lone_tile(tmp_path: Path) -> None:
    """The posts on its northern and eastern edge are its own, with no tile beyond."""
    write_hgt(tmp_path, "N46E007", ground_tile(46, 7, lambda y, x: 100 * (y - 46) + 1000 * (x - 7)))
    latitude = np.array([46.0, 46.0, 47.0, 47.0, 47.0, 46.5, 47.0 + 1e-9, 45.999999])
    longitude = np.array([7.0, 8.0, 7.0, 8.0, 7.5, 8.0, 7.5, 7.5])
    heights = TileFolder((tmp_path,)).sample(latitude, longitude)
    expected = [0.0, 1000.0, 100.0, 1100.0, 600.0, 1050.0, np.nan, np.nan]
    assert heights == pytest.approx(expected, abs=1e-6, nan_ok=True)


def test_where_the_globe_ends(tmp_path: Path) -> None:
    """±180° is one meridian; a pole is the edge of its tiles (common practice, no source)."""
    column = np.tile(np.arange(SIDE), (SIDE, 1))
    write_hgt(tmp_path, "N46W180", 2000 + column)
    write_hgt(tmp_path, "N89E007", column[:, ::-1])
    latitude, longitude = np.full(3, 46.5), np.array([180.0, -180.0, -179.5])
    folder = TileFolder((tmp_path,))
    assert folder.sample(latitude, longitude) == pytest.approx([2000, 2000, 2600])
    assert folder.sample(np.array([90.0]), np.array([7.5])) == pytest.approx([600])
    write_hgt(tmp_path, "N47E179", 800 + column)
    assert folder.sample(np.full(2, 47.5), np.array([180.0, -180.0])) == pytest.approx([2000, 2000])


def test_a_track_over_four_tiles_has_no_steps(tmp_path: Path) -> None:
    def ground(latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
        return 1200 * (latitude - 44) + 2400 * (longitude - 5)

    for south, west, name in (
        (45, 6, "N45E006"),
        (45, 7, "N45E007"),
        (46, 6, "N46E006"),
        (46, 7, "N46E007"),
    ):
        write_hgt(tmp_path, name, ground_tile(south, west, ground))
    rng = np.random.default_rng(4)
    latitude, longitude = 46 + rng.normal(0, 1e-3, 500), 7 + rng.normal(0, 1e-3, 500)
    latitude[:3], longitude[2:5] = 46.0, 7.0
    heights = TileFolder((tmp_path,)).sample(latitude, longitude)
    assert heights == pytest.approx(ground(latitude, longitude), abs=1e-6)


def test_parts_give_what_the_whole_would(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    heights = rng.integers(0, 900, (SIDE, SIDE)).astype(np.int16)
    heights[rng.random(heights.shape) < 0.02] = VOID
    for name in ("N46E007", "N46E008"):
        write_hgt(tmp_path, name, heights)
    place = 46.0 + rng.uniform(-0.1, 1.1, 2000), 7.5 + rng.uniform(0.0, 2.0, 2000)
    whole = TileFolder((tmp_path,)).survey(*place)
    monkeypatch.setattr(tiles, "_PART", 77)
    parts = TileFolder((tmp_path,)).survey(*place)
    assert 0.2 < np.mean(np.isnan(whole.height_m)) < 0.6
    for name in ("height_m", "void_m", "post_spacing_m"):
        expected = pytest.approx(getattr(whole, name), abs=1e-9, nan_ok=True)
        assert getattr(parts, name) == expected
    assert parts.notes == whole.notes != ()
