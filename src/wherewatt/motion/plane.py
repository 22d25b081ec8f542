"""A flat picture of the ride: exact enough to smooth and compare in, not to measure in."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray

METRES_PER_DEGREE = 111_195.0  # of a great circle on a sphere of the earth's mean radius


def short_way(degrees: FloatArray) -> FloatArray:
    """Differences of longitude, the short way round: within ±180° [degree]."""
    if degrees.max(initial=0.0) <= 180.0 and degrees.min(initial=0.0) >= -180.0:  # nearly always
        return degrees
    return (degrees + 180.0) % 360.0 - 180.0


def without_jumps(longitude_deg: FloatArray) -> FloatArray:
    """The longitudes of a course, going on beyond ±180° where it crosses the date line."""
    if np.ptp(longitude_deg) <= 180.0:
        return longitude_deg
    return np.unwrap(longitude_deg, period=360.0)


class LocalPlane:
    """East and north of the first of some points.

    Parameters
    ----------
    latitude_deg, longitude_deg : (n,) the points; the date line is no edge.
    """

    def __init__(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> None:
        longitude = without_jumps(longitude_deg)
        scale = np.cos(np.radians(latitude_deg))
        scale *= METRES_PER_DEGREE
        self.axes_m = np.empty((2, len(latitude_deg)))  # east and north [m]
        np.subtract(longitude, longitude[0], out=self.axes_m[0])
        self.axes_m[0] *= scale
        np.subtract(latitude_deg, latitude_deg[0], out=self.axes_m[1])
        self.axes_m[1] *= METRES_PER_DEGREE
        self._scale = scale
        self._origin = float(latitude_deg[0]), float(longitude[0])

    def degrees(self, axes_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(n,) latitudes and longitudes [degree] of the points moved to (2, n) other places."""
        latitude, longitude = self._origin
        return latitude + axes_m[1] / METRES_PER_DEGREE, short_way(
            longitude + axes_m[0] / self._scale
        )


def local_plane(latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
    """(n, 2) east and north of the first point [m]; the date line is no edge."""
    return np.ascontiguousarray(LocalPlane(latitude_deg, longitude_deg).axes_m.T)
