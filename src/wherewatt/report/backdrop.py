"""The ground around a ride, as light and shade to draw its course on."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.motion.plane import METRES_PER_DEGREE, short_way
from wherewatt.motion.ride import Ride
from wherewatt.terrain.source import TerrainSource

_MARGIN = 0.08  # of the larger extent, on every side
_LEAST_MARGIN_M = 200.0
_FLATTEST, _TALLEST = 2.1, 1.35  # width over height: fits both a wide and a narrow screen
_MOST_COLUMNS = 420
_FEWEST_COLUMNS = 24
_SUN_AZIMUTH_RAD = np.radians(315.0)  # from the upper left, as is the custom of maps
_SUN_ELEVATION_RAD = np.radians(45.0)
_WANTED_SLOPE = 0.55  # what the steepest land is drawn like, so that gentle land shows as well
_MOST_EXAGGERATION = 6.0
_FLAT_SHADE = float(np.sin(_SUN_ELEVATION_RAD))
_JPEG_QUALITY = 70


@dataclass(frozen=True, slots=True)
class MapWindow:
    """A rectangle of land, north up, and the plane it is drawn in.

    Parameters
    ----------
    latitude_deg, longitude_deg : its middle, where the plane has its origin [degree].
    width_m, height_m : its extents [m].
    """

    latitude_deg: float
    longitude_deg: float
    width_m: float
    height_m: float

    @property
    def aspect(self) -> float:
        """Width over height."""
        return self.width_m / self.height_m

    @property
    def _metres_per_degree_east(self) -> float:
        return METRES_PER_DEGREE * float(np.cos(np.radians(self.latitude_deg)))

    def on_plane(
        self, latitude_deg: FloatArray, longitude_deg: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """East and north of the middle [m]."""
        east_deg = short_way(longitude_deg - self.longitude_deg)
        north_deg = latitude_deg - self.latitude_deg
        return east_deg * self._metres_per_degree_east, north_deg * METRES_PER_DEGREE

    def grid(self, columns: int) -> tuple[FloatArray, FloatArray]:
        """(rows, columns) latitude and longitude of the middles of square cells, north first."""
        rows = max(2, round(columns / self.aspect))
        east = ((np.arange(columns) + 0.5) / columns - 0.5) * self.width_m
        north = (0.5 - (np.arange(rows) + 0.5) / rows) * self.height_m
        latitude = self.latitude_deg + north / METRES_PER_DEGREE
        longitude = self.longitude_deg + east / self._metres_per_degree_east
        of_columns, of_rows = np.meshgrid(short_way(longitude), latitude)
        return of_rows, of_columns


@dataclass(frozen=True, slots=True, eq=False)
class Backdrop:
    """Light and shade of a window.

    Parameters
    ----------
    window : where.
    shade : (rows, columns) how brightly the land is lit, 0 to 1, north first.
    """

    window: MapWindow
    shade: FloatArray

    def jpeg(self) -> bytes:
        """The shade as a small grey image."""
        from PIL import Image  # not needed before a page is written

        grey = Image.fromarray(np.rint(255.0 * self.shade).astype(np.uint8))
        buffer = io.BytesIO()
        grey.save(buffer, "JPEG", quality=_JPEG_QUALITY)
        return buffer.getvalue()


def window_of(ride: Ride) -> MapWindow:
    """The rectangle that a ride's course is drawn in, with a margin around it."""
    middle_of_longitudes = float(ride.longitude_deg[0])
    east = short_way(ride.longitude_deg - middle_of_longitudes)
    latitude = float(np.min(ride.latitude_deg) + np.max(ride.latitude_deg)) / 2.0
    longitude = middle_of_longitudes + float(np.min(east) + np.max(east)) / 2.0
    around = MapWindow(latitude, float(short_way(np.array(longitude))), 1.0, 1.0)
    x, y = around.on_plane(ride.latitude_deg, ride.longitude_deg)
    width, height = float(np.ptp(x)), float(np.ptp(y))
    margin = max(_LEAST_MARGIN_M, _MARGIN * max(width, height))
    width, height = width + 2.0 * margin, height + 2.0 * margin
    return MapWindow(
        around.latitude_deg,
        around.longitude_deg,
        max(width, _TALLEST * height),
        max(height, width / _FLATTEST),
    )


def take_backdrop(terrain: TerrainSource, ride: Ride) -> Backdrop | None:
    """Survey the land around a ride; None where its height is not known.

    Raises
    ------
    TerrainError
        If a file of terrain that is there cannot be read.
    """
    window = window_of(ride)
    # No finer than the posts of the terrain: the image is smoothed when it is drawn large.
    latitude, longitude = window.grid(2)
    spacing = terrain.survey(latitude.ravel(), longitude.ravel()).post_spacing_m
    if not np.isfinite(spacing).any():
        return None
    posts = round(window.width_m / float(np.nanmin(spacing)))
    columns = int(np.clip(posts, _FEWEST_COLUMNS, _MOST_COLUMNS))
    latitude, longitude = window.grid(columns)
    height = terrain.survey(latitude.ravel(), longitude.ravel()).height_m.reshape(latitude.shape)
    return Backdrop(window, hillshade(height, window.width_m / columns))


def hillshade(height_m: FloatArray, cell_m: float) -> FloatArray:
    """Light that land returns to one who looks down on it, 0 to 1.

    Slopes are exaggerated up to six times where the land is gentle. What is not known is shown as
    flat.

    Parameters
    ----------
    height_m : (rows, columns) height [m], north first; NaN where it is not known.
    cell_m : side of a cell [m].

    References
    ----------
    Horn, B. K. P. (1981): Hill shading and the reflectance map. Proceedings of the IEEE 69(1),
    14–47; the Lambertian surface of its section on diffuse reflection.
    """
    south, east = np.gradient(height_m, cell_m)
    slope = np.hypot(south, east)
    known = np.isfinite(slope)
    if not known.any():
        return np.full_like(height_m, _FLAT_SHADE)
    steep = max(float(np.percentile(slope[known], 98)), 1e-6)
    exaggeration = float(np.clip(_WANTED_SLOPE / steep, 1.0, _MOST_EXAGGERATION))
    p, q = exaggeration * east, -exaggeration * south
    towards_sun = p * np.sin(_SUN_AZIMUTH_RAD) + q * np.cos(_SUN_AZIMUTH_RAD)
    light = np.sin(_SUN_ELEVATION_RAD) - np.cos(_SUN_ELEVATION_RAD) * towards_sun
    shade = np.clip(light / np.sqrt(1.0 + p * p + q * q), 0.0, 1.0)
    return np.where(known, shade, _FLAT_SHADE)
