"""Tiles in folders: found, opened once, refused when broken."""

from __future__ import annotations

import gzip
import zipfile
from pathlib import Path

import numpy as np
import pytest

from wherewatt.errors import TerrainError
from wherewatt.terrain.tiles import VOID, TileFolder, bilinear, read_tile, terrain_folders

PLACE = np.array([46.25]), np.array([7.5])


def tile_bytes(height: int) -> bytes:
    return np.full((1201, 1201), height, dtype=">i2").tobytes()


@pytest.mark.parametrize("ending", [".hgt", ".hgt.gz", ".hgt.zip"])
@pytest.mark.parametrize("stem", ["N46E007", "n46e007"])
def test_plain_and_packed(tmp_path: Path, ending: str, stem: str) -> None:
    path = tmp_path / f"{stem}{ending}"
    if ending == ".hgt":
        path.write_bytes(tile_bytes(512))
    elif ending == ".hgt.gz":
        path.write_bytes(gzip.compress(tile_bytes(512), compresslevel=1))
    else:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(f"{stem}.hgt", tile_bytes(512))
    assert TileFolder((tmp_path,)).sample(*PLACE)[0] == 512.0


def test_first_folder_wins(tmp_path: Path) -> None:
    for name, height in (("fine", 1), ("coarse", 2)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "N46E007.hgt").write_bytes(tile_bytes(height))
    folders = tmp_path / "fine", tmp_path / "coarse"
    assert TileFolder(folders).sample(*PLACE)[0] == 1.0
    assert TileFolder(folders[::-1]).sample(*PLACE)[0] == 2.0


def test_missing_tile_is_nan_and_remembered(tmp_path: Path) -> None:
    tiles = TileFolder((tmp_path,))
    assert np.isnan(tiles.sample(*PLACE)[0])
    assert tiles.missing == {"N46E007"}


def test_fetch_is_asked_once_for_what_no_folder_has(tmp_path: Path) -> None:
    asked = []
    path = tmp_path / "elsewhere.hgt"
    path.write_bytes(tile_bytes(77))

    def fetch(south: int, west: int) -> Path | None:
        asked.append((south, west))
        return path if west == 7 else None

    tiles = TileFolder((), fetch)
    assert tiles.sample(*PLACE)[0] == 77.0
    tiles.sample(*PLACE)
    assert np.isnan(tiles.sample(np.array([46.5]), np.array([8.5]))[0])
    assert asked == [(46, 7), (46, 8)]


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


def test_void_corner_is_left_out() -> None:
    tile = np.array([[10, 20], [30, VOID]], dtype=np.int16)
    at = bilinear(tile, np.array([0.5, 0.0, 1.0, 0.9]), np.array([0.5, 0.0, 1.0, 0.0]))
    assert at[:2] == pytest.approx([20.0, 10.0])
    assert np.isnan(at[2])
    assert at[3] == pytest.approx(28.0)
