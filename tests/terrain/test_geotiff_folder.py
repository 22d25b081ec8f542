"""GeoTIFFs in folders: found by extent, joined at their seams, refused when they are no terrain."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rasterio.transform import Affine

from tests.terrain.tile_files import SIDE, tile_bytes, write_geotiff
from wherewatt.errors import TerrainError
from wherewatt.terrain import geotiff, mosaic
from wherewatt.terrain.tiles import TileFolder, terrain_folders

STEP = 1 / 1200


def plane(latitude: Any, longitude: Any) -> Any:
    return 100.0 + 400.0 * (latitude - 46.0) + 900.0 * (longitude - 7.0)


def write_part(path: Path, north: float, west: float, shape: tuple[int, int]) -> Path:
    """Area-registered pixels of a plane from a corner on."""
    path.parent.mkdir(exist_ok=True)
    latitude = north - STEP * (np.arange(shape[0]) + 0.5)
    longitude = west + STEP * (np.arange(shape[1]) + 0.5)
    heights = plane(*np.meshgrid(latitude, longitude, indexing="ij"))
    to = Affine(STEP, 0, west, 0, -STEP, north)
    return write_geotiff(path, heights.astype(np.float32), to, "EPSG:4326")


def test_any_name_and_one_folder_down(tmp_path: Path) -> None:
    write_part(tmp_path / "one.tif", 46.5, 7.0, (60, 60))
    write_part(tmp_path / "below" / "TWO.TIFF", 46.9, 7.5, (60, 60))
    latitude, longitude = np.array([46.48, 46.88, 46.7]), np.array([7.02, 7.52, 7.2])
    terrain = TileFolder((tmp_path,)).survey(latitude, longitude)
    expected = np.array([*plane(latitude[:2], longitude[:2]), np.nan])
    assert terrain.height_m == pytest.approx(expected, abs=1e-3, nan_ok=True)
    assert terrain.post_spacing_m == pytest.approx([93, 93, np.nan], abs=1, nan_ok=True)


def test_no_step_at_the_seam_of_two_files(tmp_path: Path) -> None:
    """The last posts of two files are a pixel apart: the height between them takes both."""
    write_part(tmp_path / "east.tif", 46.5, 7.1, (120, 120))
    write_part(tmp_path / "west.tif", 46.5, 7.0, (120, 120))
    longitude = 7.1 + STEP * np.linspace(-2.0, 2.0, 41)
    latitude = np.full(41, 46.45)
    heights = TileFolder((tmp_path,)).sample(latitude, longitude)
    assert heights == pytest.approx(plane(latitude, longitude), abs=1e-3)


def test_the_outer_half_pixel_goes_on_level(tmp_path: Path) -> None:
    write_part(tmp_path / "lone.tif", 46.5, 7.0, (120, 120))
    longitude = 7.0 + STEP * np.array([-0.01, 0.0, 0.25, 0.5, 1.5])
    terrain = TileFolder((tmp_path,)).survey(np.full(5, 46.45), longitude)
    expected = plane(46.45, 7.0 + STEP * np.array([0.5, 0.5, 0.5, 1.5]))
    assert np.isnan(terrain.height_m[0])
    assert terrain.height_m[1:] == pytest.approx(expected, abs=1e-3)
    assert np.all(terrain.void_m[1:] == 0.0)


def test_finer_before_coarser_before_hgt(tmp_path: Path) -> None:
    (tmp_path / "N46E007.hgt").write_bytes(tile_bytes(3))
    for name, side, height in (("a.tif", 50, 2), ("b.tif", 500, 1)):
        to = Affine(0.2 / side, 0, 7.4, 0, -0.2 / side, 46.6)
        write_geotiff(tmp_path / name, np.full((side, side // 2), height), to, "EPSG:4326")
    to = Affine(0.004, 0, 7.5, 0, -0.004, 46.6)
    write_geotiff(tmp_path / "c.tif", np.full((50, 25), 2), to, "EPSG:4326")
    heights = TileFolder((tmp_path,)).sample(np.full(3, 46.5), np.array([7.45, 7.55, 7.9]))
    assert heights.tolist() == [1.0, 2.0, 3.0]


def test_nodata_is_a_void_and_is_filled(tmp_path: Path) -> None:
    heights = np.full((60, 60), 250, dtype=np.int16)
    heights[30, 30] = -1
    to = Affine(STEP, 0, 7.0, 0, -STEP, 46.5)
    write_geotiff(tmp_path / "a.tif", heights, to, "EPSG:4326", nodata=-1)
    place = np.array([46.5 - 30.5 * STEP]), np.array([7.0 + 30.5 * STEP])
    terrain = TileFolder((tmp_path,)).survey(*place)
    assert terrain.height_m == pytest.approx([250.0])
    assert terrain.void_m == pytest.approx([92.66 * np.cos(np.deg2rad(46.5))], rel=2e-3)
    assert [note.code for note in terrain.notes] == ["terrain-voids"]


@pytest.mark.parametrize(
    ("more", "metres"),
    [
        ({"scale": 0.1, "offset": 5.0}, 105.0),
        ({"unit": "m"}, 1000.0),
        ({"unit": "ft"}, 304.8),  # the international foot, exact
        ({"unit": "US survey foot"}, 304.800609601),  # 1200/3937 m, to nine decimals
    ],
)
def test_scale_offset_unit(tmp_path: Path, more: dict[str, Any], metres: float) -> None:
    to = Affine(STEP, 0, 7.0, 0, -STEP, 46.5)
    heights = np.full((60, 60), 1000, dtype=np.int16)
    write_geotiff(tmp_path / "a.tif", heights, to, "EPSG:4326", **more)
    sampled = TileFolder((tmp_path,)).sample(np.array([46.48]), np.array([7.02]))
    assert sampled == pytest.approx([metres], abs=1e-8)


def test_unit_of_the_vertical_axis(tmp_path: Path) -> None:
    """NAVD88 in US survey feet (EPSG:6360) above UTM zone 18 north."""
    to = Affine(30, 0, 500_000, 0, -30, 4_800_000)
    heights = np.full((60, 60), 1000, dtype=np.float32)
    write_geotiff(tmp_path / "a.tif", heights, to, "EPSG:26918+6360")
    sampled = TileFolder((tmp_path,)).sample(np.array([43.345]), np.array([-74.99]))
    assert sampled == pytest.approx([304.8006096])


@pytest.mark.parametrize(
    ("heights", "crs", "unit", "found"),
    [
        (np.zeros((3, 9, 9), np.uint8), "EPSG:4326", None, "3 bands"),
        (np.zeros((9, 9), np.int16), None, None, "no coordinate reference system"),
        (np.zeros((9, 9), np.int16), "EPSG:4326", "fathom", "heights in 'fathom'"),
        (np.zeros((9, 9), np.complex64), "EPSG:4326", None, "9 × 9 pixels of complex64"),
    ],
)
def test_what_is_no_terrain(
    tmp_path: Path, heights: Any, crs: Any, unit: str | None, found: str
) -> None:
    to = Affine(STEP, 0, 7.0, 0, -STEP, 46.5)
    write_geotiff(tmp_path / "photo.tif", heights, to, crs, unit=unit)
    with pytest.raises(TerrainError) as caught:
        TileFolder((tmp_path,)).sample(np.array([46.48]), np.array([7.02]))
    assert str(caught.value).startswith(f"photo.tif: found {found}")
    assert "\n" not in str(caught.value)


def test_no_tiff_at_all(tmp_path: Path) -> None:
    (tmp_path / "a.tif").write_bytes(b"II*\0 but nothing else")
    with pytest.raises(TerrainError, match=r"^a\.tif: "):
        TileFolder((tmp_path,)).sample(np.array([46.48]), np.array([7.02]))


def test_a_file_that_was_cut_short(tmp_path: Path) -> None:
    path = write_part(tmp_path / "a.tif", 46.5, 7.0, (200, 200))
    path.write_bytes(path.read_bytes()[:20_000])
    assert geotiff.read_header(path).shape == (200, 200)
    with pytest.raises(TerrainError, match=r"^a\.tif: ") as caught:
        TileFolder((tmp_path,)).sample(np.array([46.35]), np.array([7.02]))
    assert "\n" not in str(caught.value)


def test_a_file_that_changes_is_read_anew(tmp_path: Path) -> None:
    place = np.array([46.48]), np.array([7.02])
    to = Affine(STEP, 0, 7.0, 0, -STEP, 46.5)
    for height in (10, 20):
        path = write_geotiff(
            tmp_path / "a.tif", np.full((60, 60), height, dtype=np.int16), to, "EPSG:4326"
        )
        os.utime(path, ns=(height, height))
        assert TileFolder((tmp_path,)).sample(*place) == pytest.approx([height])


def test_rasterio_is_asked_for_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_part(tmp_path / "a.tif", 46.5, 7.0, (60, 60))
    monkeypatch.setattr(geotiff, "find_spec", lambda name: None)
    for ask in (
        lambda: terrain_folders((tmp_path,)),
        lambda: TileFolder((tmp_path,)).sample(np.array([46.48]), np.array([7.02])),
    ):
        with pytest.raises(TerrainError, match=r"a\.tif: .*pip install 'wherewatt\[geotiff\]'"):
            ask()


def test_blocks_give_what_the_whole_would(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(6)
    heights = rng.uniform(0, 3000, (150, 170)).astype(np.float32)
    to = Affine(STEP, 0, 7.0, 0, -STEP, 46.5)
    write_geotiff(tmp_path / "a.tif", heights, to, "EPSG:4326")
    place = 46.5 - STEP * rng.uniform(0, 150, 300), 7.0 + STEP * rng.uniform(0, 170, 300)
    whole = TileFolder((tmp_path,)).sample(*place)
    monkeypatch.setattr(mosaic, "_BLOCK", 32)
    assert TileFolder((tmp_path,)).sample(*place).tolist() == whole.tolist()


def test_only_blocks_under_the_places_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes = []
    block = geotiff.Raster.block

    def watched(self: geotiff.Raster, top: int, left: int, shape: tuple[int, int]) -> Any:
        sizes.append(shape[0] * shape[1])
        return block(self, top, left, shape)

    monkeypatch.setattr(geotiff.Raster, "block", watched)
    write_part(tmp_path / "a.tif", 47.0, 7.0, (SIDE, SIDE))
    along = np.linspace(0.0, 1.0, 2000)
    TileFolder((tmp_path,)).sample(46.1 + 0.8 * along, 7.1 + 0.8 * along)
    assert max(sizes) <= (mosaic._BLOCK + 1) ** 2
    assert sum(sizes) < 0.5 * SIDE**2


@pytest.mark.parametrize("west", [-180.0, 0.0, 179.5])
def test_longitudes_that_count_from_elsewhere(tmp_path: Path, west: float) -> None:
    """A world that runs from 0° to 360° holds the western half as well."""
    side = 360 if west < 179 else 1
    columns = side * 2
    heights = np.tile(np.arange(columns, dtype=np.int16), (10, 1))
    write_geotiff(tmp_path / "a.tif", heights, Affine(0.5, 0, west, 0, -0.5, 48), "EPSG:4326")
    longitude = np.array([179.75, -179.75])
    sampled = TileFolder((tmp_path,)).sample(np.full(2, 46.0), longitude)
    assert sampled == pytest.approx(((longitude - west) % 360.0) / 0.5 - 0.5)
