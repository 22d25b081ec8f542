"""GeoTIFFs: where their posts lie, by .hgt tiles of the same ground, rasterio and pyproj."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from pyproj import Transformer
from rasterio.transform import Affine

from tests.terrain.tile_files import SIDE, ground_tile, write_geotiff, write_hgt
from wherewatt.arrays import FloatArray
from wherewatt.terrain.geotiff import read_header
from wherewatt.terrain.hgt import VOID
from wherewatt.terrain.tiles import TileFolder

STEP = 1 / 1200


def hills(latitude: FloatArray, longitude: FloatArray) -> FloatArray:
    return 800 + 300 * np.sin(40 * latitude) * np.cos(31 * longitude) + 90 * np.sin(300 * longitude)


@pytest.fixture(scope="module")
def tile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hgt")
    return write_hgt(folder, "N46E007", ground_tile(46, 7, hills))


@pytest.fixture(scope="module")
def places() -> tuple[FloatArray, FloatArray]:
    place = np.random.default_rng(2).uniform(0.0, 1.0, (2, 2000))
    place[:, :4] = [[0.0, 0.0, 1.0, 1.0], [0.0, 1.0, 0.0, 1.0]]
    return 46.0 + place[0], 7.0 + place[1]


@pytest.mark.parametrize("registration", ["Area", "Point"])
def test_geotiff_and_hgt_of_one_ground_agree(
    tmp_path: Path, tile: Path, places: tuple[FloatArray, FloatArray], registration: str
) -> None:
    """rasterio's own .hgt driver says where the pixels lie: bounds half a pixel beyond the degree.

    A file registered by centres has its first post at the corner of the degree; GDAL gives the
    corner of that pixel for both kinds (GDAL raster data model; OGC GeoTIFF 1.1, 7.1.2.2).
    """
    with rasterio.open(tile) as dataset:
        heights, to = dataset.read(1), dataset.transform
        assert dataset.nodata == VOID
    assert (to.c, to.f) == pytest.approx((7.0 - STEP / 2, 47.0 + STEP / 2), abs=1e-12)
    path = tmp_path / "any.tif"
    write_geotiff(path, heights, to, "EPSG:4326", tags={"AREA_OR_POINT": registration})
    with rasterio.open(path) as dataset:
        assert dataset.tags()["AREA_OR_POINT"] == registration
    assert read_header(path).first_post == pytest.approx((7.0, 47.0), abs=1e-10)
    ours = TileFolder((tmp_path,)).sample(*places)
    assert ours == pytest.approx(TileFolder((tile.parent,)).sample(*places), abs=1e-5)


def tie_point(path: Path) -> tuple[float, ...]:
    """The raw tie point of a little-endian classic TIFF (tag 33922), read byte by byte."""
    data = path.read_bytes()
    assert data[:4] == b"II*\0"
    (first,) = np.frombuffer(data, "<u4", 1, 4)
    (count,) = np.frombuffer(data, "<u2", 1, int(first))
    for entry in range(int(count)):
        at = int(first) + 2 + 12 * entry
        if np.frombuffer(data, "<u2", 1, at)[0] == 33922:
            return tuple(
                np.frombuffer(data, "<f8", 6, int(np.frombuffer(data, "<u4", 1, at + 8)[0]))
            )
    raise AssertionError("no tie point")


def test_the_two_registrations_differ_by_half_a_pixel_in_the_file(tmp_path: Path) -> None:
    """Same posts, other numbers in the file: the bounds by corners are half a pixel wider."""
    heights = np.arange(81, dtype=np.int16).reshape(9, 9)
    to = Affine(STEP, 0, 7.0 - STEP / 2, 0, -STEP, 47.0 + STEP / 2)
    ties = {}
    for kind in ("Area", "Point"):
        path = tmp_path / f"{kind}.tif"
        write_geotiff(path, heights, to, "EPSG:4326", tags={"AREA_OR_POINT": kind})
        ties[kind] = tie_point(path)[3:5]
        assert read_header(path).first_post == pytest.approx((7.0, 47.0), abs=1e-10)
    assert ties["Point"] == pytest.approx((7.0, 47.0), abs=1e-10)
    assert ties["Area"] == pytest.approx((7.0 - STEP / 2, 47.0 + STEP / 2), abs=1e-10)


@pytest.mark.parametrize(
    ("crs", "north_west"),
    [
        ("EPSG:32632", (46.4, 7.2)),  # UTM zone 32 north
        ("EPSG:3035", (46.4, 7.2)),  # Lambert azimuthal equal area, northing first
        ("EPSG:32760", (-40.1, 176.0)),  # UTM zone 60 south
        ("EPSG:4258", (46.4, 7.2)),  # degrees on ETRS89, latitude first
    ],
)
def test_any_projection(tmp_path: Path, crs: str, north_west: tuple[float, float]) -> None:
    """A plane in the projection's own coordinates, which pyproj gives, is met to the millimetre."""
    to_crs = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    x, y = to_crs.transform(north_west[1], north_west[0])
    step = 30.0 if abs(x) > 360.0 else 1 / 3600
    column, row = np.meshgrid(np.arange(400) + 0.5, np.arange(300) + 0.5)
    heights = 100.0 + 0.5 * column - 0.25 * row
    to = Affine(step, 0, x, 0, -step, y)
    write_geotiff(tmp_path / "a.tif", heights, to, crs, compress="deflate", tiled=True,
                  blockxsize=64, blockysize=64)  # fmt: skip
    rng = np.random.default_rng(1)
    column, row = rng.uniform(1, 399, 500), rng.uniform(1, 299, 500)
    longitude, latitude = to_crs.transform(x + step * column, y - step * row, direction="INVERSE")
    terrain = TileFolder((tmp_path,)).survey(latitude, longitude)
    assert terrain.height_m == pytest.approx(100.0 + 0.5 * column - 0.25 * row, abs=1e-3)
    assert terrain.post_spacing_m == pytest.approx(np.full(500, 30.0), abs=1.0)


def test_a_turned_grid(tmp_path: Path) -> None:
    along, across = 25.0 * np.cos(np.pi / 6), 25.0 * np.sin(np.pi / 6)
    turned = Affine(along, across, 400_000, across, -along, 5_140_000)
    column, row = np.meshgrid(np.arange(80), np.arange(60))
    write_geotiff(tmp_path / "a.tif", 3.0 * column + 2.0 * row, turned, "EPSG:32632")
    columns, rows = np.array([10.0, 31.25, 70.5]), np.array([5.0, 40.75, 50.0])
    x = turned.a * (columns + 0.5) + turned.b * (rows + 0.5) + turned.c
    y = turned.d * (columns + 0.5) + turned.e * (rows + 0.5) + turned.f
    from_crs = Transformer.from_crs("EPSG:32632", "EPSG:4326", always_xy=True)
    longitude, latitude = from_crs.transform(x, y)
    heights = TileFolder((tmp_path,)).sample(latitude, longitude)
    assert heights == pytest.approx(3.0 * columns + 2.0 * rows, abs=1e-3)


def test_real_tile_with_voids_as_geotiff(tmp_path: Path, shared_data: Path) -> None:
    """N50E010 with its 28 voids, copied by rasterio from .hgt to GeoTIFF, gives the same."""
    folder = shared_data / "dem"
    with rasterio.open(folder / "N50E010.hgt") as dataset:
        heights, to, crs = dataset.read(1), dataset.transform, dataset.crs
    write_geotiff(tmp_path / "a.tif", heights, to, crs, nodata=VOID, compress="deflate")
    row, column = np.nonzero(heights == VOID)
    shift = np.random.default_rng(3).uniform(-0.9, 0.9, (2, len(row)))
    latitude, longitude = 51 - (row + shift[0]) / 1200, 10 + (column + shift[1]) / 1200
    ours = TileFolder((tmp_path,)).survey(latitude, longitude)
    hgt = TileFolder((folder,)).survey(latitude, longitude)
    assert len(row) == 28
    assert np.count_nonzero(hgt.void_m) == 28
    # The scale east to west is taken at the tile's or the ride's middle, hence the tolerance.
    assert ours.height_m == pytest.approx(hgt.height_m, abs=0.05)
    assert ours.void_m == pytest.approx(hgt.void_m, rel=1e-2, abs=1e-3)


def test_heights_at_pixels_are_those_of_rasterio(tmp_path: Path) -> None:
    """rasterio's own `sample` takes the nearest pixel; at posts it is the height itself."""
    heights = np.random.default_rng(5).uniform(0, 2000, (SIDE // 4, SIDE // 3))
    to = Affine(STEP, 0, 7.1, 0, -STEP, 46.9)
    path = write_geotiff(tmp_path / "a.tif", heights, to, "EPSG:4326")
    rng = np.random.default_rng(9)
    row, column = rng.integers(0, heights.shape[0], 300), rng.integers(0, heights.shape[1], 300)
    latitude, longitude = 46.9 - STEP * (row + 0.5), 7.1 + STEP * (column + 0.5)
    with rasterio.open(path) as dataset:
        expected = [value[0] for value in dataset.sample(zip(longitude, latitude, strict=True))]
    assert TileFolder((tmp_path,)).sample(latitude, longitude) == pytest.approx(expected, abs=1e-5)
