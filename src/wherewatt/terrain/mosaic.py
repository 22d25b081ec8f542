"""GeoTIFFs on one grid as one source: heights are interpolated across the seams of files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.terrain.geotiff import Raster, geotiff_paths, read_header, require_rasterio
from wherewatt.terrain.interpolate import degrees_to_metres, interpolate
from wherewatt.terrain.source import TerrainSample, unknown_terrain

_BLOCK = 512  # posts are read in blocks of so many rows and columns: 2 MB at a time
_SAME_GRID = 1e-2  # part of a pixel by which grids of neighbouring files may differ


def find_rasters(folder: Path) -> list[Mosaic]:
    """GeoTIFFs of a folder, those on one grid together; the finest grid first.

    Raises
    ------
    TerrainError
        If there are any, but no rasterio, or if one cannot be used.
    """
    paths = geotiff_paths(folder)
    if not paths:
        return []
    require_rasterio(paths[0])
    grids: list[list[Raster]] = []
    for raster in map(read_header, paths):
        mates = next((grid for grid in grids if _on_one_grid(grid[0], raster)), None)
        if mates is None:
            grids.append([raster])
        else:
            mates.append(raster)
    return sorted(map(mosaic_of, grids), key=lambda mosaic: mosaic.pixel_m)


def _on_one_grid(first: Raster, other: Raster) -> bool:
    if first.crs != other.crs:
        return False
    side = max(*first.shape, *other.shape)
    pixel = float(np.max(np.abs(first.step)))
    if np.max(np.abs(np.subtract(first.step, other.step))) * side > _SAME_GRID * pixel:
        return False
    away = np.array(_post_at(first, *other.first_post))
    return bool(np.max(np.abs(away - np.rint(away))) < _SAME_GRID)


def _post_at(raster: Raster, x: Any, y: Any) -> tuple[Any, Any]:
    """Fractional row and column of coordinates."""
    x_column, y_column, x_row, y_row = raster.step
    east, north = x - raster.first_post[0], y - raster.first_post[1]
    area = x_column * y_row - x_row * y_column
    return (x_column * north - y_column * east) / area, (y_row * east - x_row * north) / area


def mosaic_of(rasters: list[Raster]) -> Mosaic:
    """GeoTIFFs on one grid, in order of preference, as one."""
    first = rasters[0]
    corner = np.rint([_post_at(first, *raster.first_post) for raster in rasters]).astype(np.intp)
    last = corner + np.array([raster.shape for raster in rasters])
    least = corner.min(axis=0)
    shape = last.max(axis=0) - least
    return Mosaic(
        rasters=tuple(rasters),
        corners=tuple((int(row), int(column)) for row, column in corner - least),
        start=(int(least[0]), int(least[1])),
        shape=(int(shape[0]), int(shape[1])),
    )


@dataclass(frozen=True, slots=True)
class Mosaic:
    """GeoTIFFs on one grid, as a `PostGrid` and a `TerrainSource`.

    Parameters
    ----------
    rasters : the files, in order of preference where they overlap.
    corners : row and column of each file's first post in the common grid.
    start : row and column of the common grid's first post, as the first file counts.
    shape : rows and columns of the common grid; it may have gaps.
    """

    rasters: tuple[Raster, ...]
    corners: tuple[tuple[int, int], ...]
    start: tuple[int, int]
    shape: tuple[int, int]

    @property
    def pixel_m(self) -> float:
        """Distance between posts [m], at the middle of the first file."""
        first = self.rasters[0]
        rows, columns = first.shape
        middle = first.first_post[1] + first.step[3] * rows / 2.0 + first.step[1] * columns / 2.0
        return max(self._spacing_m(middle))

    def survey(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> TerrainSample:
        """Heights at n places; NaN outside of the files.

        Within half a pixel of the outer edge the heights of the last posts go on.

        Raises
        ------
        TerrainError
            If a file cannot be read.
        """
        sample = unknown_terrain(len(latitude_deg))
        row, column = self._post_at(latitude_deg, longitude_deg)
        inside = np.flatnonzero(self._covered(row, column))
        if len(inside):
            spacing = self._spacing_m(float(np.mean(latitude_deg[inside])))
            sample.height_m[inside], sample.void_m[inside] = interpolate(
                self, row[inside], column[inside], spacing
            )
            sample.post_spacing_m[inside] = max(spacing)
        return sample

    def squares(self, top: IntArray, left: IntArray) -> list[FloatArray]:
        """Heights of the posts around n squares, four times (n,) [m]; NaN for a void."""
        heights = np.empty((4, len(top)))
        key = (top // _BLOCK) * (self.shape[1] // _BLOCK + 1) + left // _BLOCK
        for here in _groups(key):
            rows, columns = top[here], left[here]
            first = int(rows.min()), int(columns.min())
            extent = int(rows.max()) + 2 - first[0], int(columns.max()) + 2 - first[1]
            block = self.window(*first, extent)
            rows, columns = rows - first[0], columns - first[1]
            heights[0, here], heights[1, here] = block[rows, columns], block[rows, columns + 1]
            rows += 1
            heights[2, here], heights[3, here] = block[rows, columns], block[rows, columns + 1]
        return list(heights)

    def window(self, top: int, left: int, shape: tuple[int, int]) -> FloatArray:
        """Heights of a block of posts [m]; NaN for a void and outside of the files."""
        heights = np.full(shape, np.nan)
        for raster, corner in zip(self.rasters, self.corners, strict=True):
            first = max(top, corner[0]), max(left, corner[1])
            end = (
                min(top + shape[0], corner[0] + raster.shape[0]),
                min(left + shape[1], corner[1] + raster.shape[1]),
            )
            extent = end[0] - first[0], end[1] - first[1]
            if min(extent) <= 0:
                continue
            rows = slice(first[0] - top, end[0] - top)
            columns = slice(first[1] - left, end[1] - left)
            part = heights[rows, columns]
            if np.isnan(part).any():
                more = raster.block(first[0] - corner[0], first[1] - corner[1], extent)
                heights[rows, columns] = np.where(np.isnan(part), more, part)
        return heights

    def _post_at(
        self, latitude_deg: FloatArray, longitude_deg: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Fractional rows and columns of places; infinite where the projection has none."""
        first = self.rasters[0]
        horizontal = _projection(first.crs)
        if horizontal.is_geographic:
            longitude_deg = self._turned(longitude_deg)
        x, y = horizontal.from_places(longitude_deg, latitude_deg)
        with np.errstate(invalid="ignore"):
            row, column = _post_at(first, x, y)
        return row - self.start[0], column - self.start[1]

    def _turned(self, longitude_deg: FloatArray) -> FloatArray:
        """Longitudes turned by full circles so that they begin at the grid's western edge."""
        first = self.rasters[0]
        columns = self.start[1] - 0.5, self.start[1] + self.shape[1] - 0.5
        rows = self.start[0] - 0.5, self.start[0] + self.shape[0] - 0.5
        west = first.first_post[0] + min(
            column * first.step[0] + row * first.step[2] for column in columns for row in rows
        )
        west -= 1e-9  # a place on the edge stays there
        return west + (longitude_deg - west) % 360.0

    def _covered(self, row: FloatArray, column: FloatArray) -> BoolArray:
        """(n,) True where a pixel of a file lies."""
        covered = np.zeros(len(row), dtype=bool)
        half = 0.5 + 1e-6
        for raster, (top, left) in zip(self.rasters, self.corners, strict=True):
            within = (row >= top - half) & (row <= top + raster.shape[0] - 1 + half)
            within &= (column >= left - half) & (column <= left + raster.shape[1] - 1 + half)
            covered |= within
        return covered

    def _spacing_m(self, latitude_deg: float) -> tuple[float, float]:
        """Distance between rows and between columns [m]."""
        first = self.rasters[0]
        projection = _projection(first.crs)
        if projection.is_geographic:
            north_m, east_m = degrees_to_metres(latitude_deg)
        else:
            north_m = east_m = projection.unit_m
        x_column, y_column, x_row, y_row = first.step
        between_rows = np.hypot(x_row * east_m, y_row * north_m)
        return float(between_rows), float(np.hypot(x_column * east_m, y_column * north_m))


def _groups(key: IntArray) -> Iterator[IntArray]:
    """Indices of equal keys, group by group."""
    order = np.argsort(key, kind="stable")
    yield from np.split(order, np.flatnonzero(np.diff(key[order])) + 1)


@dataclass(frozen=True, slots=True)
class _Projection:
    """From places to the coordinates of a reference system.

    Parameters
    ----------
    transformer : pyproj's, from longitude and latitude; None if these are the coordinates.
    is_geographic : whether the coordinates are degrees.
    unit_m : metres in a unit of them otherwise.
    """

    transformer: Any
    is_geographic: bool
    unit_m: float

    def from_places(self, longitude_deg: FloatArray, latitude_deg: FloatArray) -> Any:
        if self.transformer is None:
            return longitude_deg, latitude_deg
        return self.transformer.transform(longitude_deg, latitude_deg)


@lru_cache(maxsize=16)
def _projection(wkt: str) -> _Projection:
    from pyproj import CRS, Transformer

    crs = CRS.from_wkt(wkt)
    horizontal = crs.sub_crs_list[0] if crs.is_compound else crs.to_2d()
    transformer = None
    if horizontal.to_epsg() != 4326:
        transformer = Transformer.from_crs("EPSG:4326", horizontal, always_xy=True)
    unit = horizontal.axis_info[0].unit_conversion_factor if horizontal.axis_info else 1.0
    return _Projection(transformer, horizontal.is_geographic, unit)
