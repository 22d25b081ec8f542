"""The invented island of Merrowan: one square degree of sea with land in its middle.

The island lies in tile N44W030, in the open Atlantic where there is no land at all. Its height
is an analytic function of place, the same for every ride, so that roads, tiles and truth agree
to the last digit wherever they ought to, and differ only where the simulator says so.

Place is either geographic (WGS84 degrees) or in the plane (metres east and north of 44.5 N
29.5 W, transverse Mercator; its scale error over the island is below 1e-5).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from pyproj import Proj

from .noise import FloatArray

TILE_SOUTH_DEG = 44
TILE_WEST_DEG = -30
TILE_NAME = "N44W030"
SHORE_RADIUS_M = 13_500.0
TILE_OFFSET_M = 1.4
"""Constant error of the tile: it stands this much too high on land."""
TILE_ERROR_SD_M = 3.0
"""Standard deviation of the correlated tile error (SRTM: several metres, Rodriguez 2006)."""

_PLANE = Proj(proj="tmerc", lat_0=44.5, lon_0=-29.5, k=1.0, ellps="WGS84")


def to_plane(lat_deg: FloatArray, lon_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn geographic places into plane ones: metres east and north of the tile's centre."""
    x_m, y_m = _PLANE(lon_deg, lat_deg)
    return np.asarray(x_m), np.asarray(y_m)


def to_geographic(x_m: FloatArray, y_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Turn plane places into geographic ones: latitude and longitude [degrees]."""
    lon_deg, lat_deg = _PLANE(x_m, y_m, inverse=True)
    return np.asarray(lat_deg), np.asarray(lon_deg)


@dataclass(frozen=True, slots=True)
class _Waves:
    """A sum of plane waves: a smooth random field of known standard deviation."""

    east_per_m: FloatArray
    north_per_m: FloatArray
    phase: FloatArray
    amplitude_m: float

    def at(self, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
        total = np.zeros(np.shape(x_m))
        for east, north, phase in zip(self.east_per_m, self.north_per_m, self.phase, strict=True):
            total += np.sin(east * x_m + north * y_m + phase)
        return self.amplitude_m * total


@lru_cache
def _waves(seed: int, count: int, shortest_m: float, longest_m: float, sd_m: float) -> _Waves:
    rng = np.random.default_rng(seed)
    wavenumber = (
        2.0 * math.pi / np.exp(rng.uniform(math.log(shortest_m), math.log(longest_m), count))
    )
    bearing = rng.uniform(0.0, 2.0 * math.pi, count)
    return _Waves(
        east_per_m=wavenumber * np.sin(bearing),
        north_per_m=wavenumber * np.cos(bearing),
        phase=rng.uniform(0.0, 2.0 * math.pi, count),
        amplitude_m=sd_m * math.sqrt(2.0 / count),
    )


def _smooth_step(value: FloatArray) -> FloatArray:
    clipped = np.clip(value, 0.0, 1.0)
    return clipped * clipped * (3.0 - 2.0 * clipped)


def terrain_m(x_m: FloatArray, y_m: FloatArray) -> FloatArray:
    """Height of the open ground above the sea.

    Parameters
    ----------
    x_m, y_m : array, same shape
        Plane places [m].

    Returns
    -------
    array, same shape
        Height [m]: a rough north-west with a ridge of some 500 m, a gentle south-east,
        exactly 0 at sea.
    """
    bearing = np.arctan2(y_m, x_m)
    shore_m = SHORE_RADIUS_M * (
        1.0 + 0.05 * np.sin(3.0 * bearing + 0.7) + 0.03 * np.sin(7.0 * bearing + 2.1)
    )
    inland = _smooth_step((shore_m - np.hypot(x_m, y_m)) / 2_500.0)
    roughness = 0.10 + 0.90 * _smooth_step((y_m - x_m + 9_000.0) / 20_000.0)
    # The ridge runs from south-west to north-east across the north-west of the island.
    along, across = (x_m + y_m + 1_000.0) / 1.414, (y_m - x_m - 9_000.0) / 1.414
    ridge = 430.0 * np.exp(-0.5 * ((along / 4_500.0) ** 2 + (across / 2_600.0) ** 2))
    hills = (
        _waves(11, 24, 2_800.0, 8_000.0, 55.0).at(x_m, y_m)
        + _waves(12, 36, 800.0, 2_800.0, 12.0).at(x_m, y_m)
        + _waves(13, 40, 280.0, 800.0, 1.6).at(x_m, y_m)
    )
    ground = 30.0 + 40.0 * roughness + ridge + roughness * hills
    floor_m = 6.0
    return inland * floor_m * np.logaddexp(0.0, ground / floor_m)


def tile_error_m(x_m: FloatArray, y_m: FloatArray) -> FloatArray:
    """Correlated error of the terrain tile on land [m]: a few hundred metres long, plus offset."""
    return TILE_OFFSET_M + _waves(21, 60, 350.0, 1_800.0, TILE_ERROR_SD_M).at(x_m, y_m)


@lru_cache(maxsize=2)
def tile_heights(arc_seconds: int = 3) -> NDArray[np.int16]:
    """Heights of the terrain tile as a survey from orbit would give them.

    Parameters
    ----------
    arc_seconds : int
        Spacing of the nodes: 3 (1201 x 1201) or 1 (3601 x 3601).

    Returns
    -------
    int16 array, shape (n, n)
        Whole metres, north row first, west column first; 0 at sea, never void. It shows the
        open ground: roads, bridges and cuttings are not in it.

    Raises
    ------
    ValueError
        If `arc_seconds` is neither 1 nor 3.
    """
    if arc_seconds not in (1, 3):
        raise ValueError(f"arc_seconds: expected 1 or 3, got {arc_seconds}")
    count = 3600 // arc_seconds + 1
    heights = np.zeros((count, count), dtype=np.int16)
    steps = np.linspace(0.0, 1.0, count)
    lat_deg, lon_deg = TILE_SOUTH_DEG + 1.0 - steps, TILE_WEST_DEG + steps
    rows = np.flatnonzero(np.abs(lat_deg - 44.5) < 0.14)
    columns = np.flatnonzero(np.abs(lon_deg + 29.5) < 0.19)
    for block in np.array_split(rows, max(1, rows.size // 100)):
        lon_grid, lat_grid = np.meshgrid(lon_deg[columns], lat_deg[block])
        x_m, y_m = to_plane(lat_grid, lon_grid)
        ground_m = terrain_m(x_m, y_m)
        surveyed_m = np.where(ground_m > 0.5, ground_m + tile_error_m(x_m, y_m), 0.0)
        heights[block[0] : block[-1] + 1, columns[0] : columns[-1] + 1] = np.rint(surveyed_m)
    heights.flags.writeable = False
    return heights
