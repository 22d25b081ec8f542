"""A flat picture of the ride: exact enough to smooth and compare in, not to measure in."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray

METRES_PER_DEGREE = 111_195.0  # of a great circle on a sphere of the earth's mean radius


def local_plane(latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
    """(n, 2) east and north of the first point [m]; the date line is no edge."""
    longitude = np.degrees(np.unwrap(np.radians(longitude_deg)))
    east = (longitude - longitude[0]) * METRES_PER_DEGREE * np.cos(np.radians(latitude_deg))
    north = (latitude_deg - latitude_deg[0]) * METRES_PER_DEGREE
    return np.column_stack([east, north])
