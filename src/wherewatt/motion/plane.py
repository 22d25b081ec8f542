"""A flat picture of the ride: exact enough to smooth and compare in, not to measure in."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray

METRES_PER_DEGREE = 111_195.0  # of a great circle on a sphere of the earth's mean radius


def short_way(degrees: FloatArray) -> FloatArray:
    """Differences of longitude, the short way round: within ±180° [degree]."""
    if not np.any(np.abs(degrees) > 180.0):  # as nearly always
        return degrees
    return (degrees + 180.0) % 360.0 - 180.0


def without_jumps(longitude_deg: FloatArray) -> FloatArray:
    """The longitudes of a course, going on beyond ±180° where it crosses the date line."""
    if np.ptp(longitude_deg) <= 180.0:
        return longitude_deg
    return np.unwrap(longitude_deg, period=360.0)


def local_plane(latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
    """(n, 2) east and north of the first point [m]; the date line is no edge."""
    plane = np.empty((len(latitude_deg), 2))
    longitude = without_jumps(longitude_deg)
    plane[:, 0] = longitude - longitude[0]
    plane[:, 0] *= METRES_PER_DEGREE * np.cos(np.radians(latitude_deg))
    plane[:, 1] = METRES_PER_DEGREE * (latitude_deg - latitude_deg[0])
    return plane
