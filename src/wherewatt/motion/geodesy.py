"""Lengths and directions of legs on the WGS 84 ellipsoid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from pyproj import Geod

from wherewatt.arrays import FloatArray
from wherewatt.motion.plane import short_way

GEOD = Geod(ellps="WGS84")

# Up to this difference of latitude and of longitude the radii of curvature in the middle of a leg
# give its length to 5 µm and its direction to 10⁻⁷ rad, near the poles too.
_SHORT_DEG = 0.01


def leg_lengths(latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
    """(n−1,) geodesic distances between successive points [m] on WGS 84; see `Legs`."""
    return Legs.between(latitude_deg, longitude_deg).length_m


@dataclass(frozen=True, slots=True, eq=False)
class Legs:
    """Geodesics between successive points, as they go off from the first; all arrays (n−1,).

    Parameters
    ----------
    east_m, north_m : how far it is along the parallel and along the meridian [m].
    turn_rad : how much less the azimuth is at the start of a leg than in its middle [rad].
    """

    east_m: FloatArray
    north_m: FloatArray
    turn_rad: FloatArray

    @classmethod
    def between(cls, latitude_deg: FloatArray, longitude_deg: FloatArray) -> Legs:
        """Short legs by the ellipsoid's radii of curvature in their middle, long ones by pyproj.

        References
        ----------
        Snyder, J. P. (1987): Map projections, a working manual. USGS Professional Paper 1395,
        eqs. 4-18 and 4-20, the radii of curvature. For long legs Karney (2013), J. Geodesy 87:43.
        """
        north_deg = latitude_deg[1:] - latitude_deg[:-1]
        east_deg = short_way(longitude_deg[1:] - longitude_deg[:-1])
        middle_rad = (latitude_deg[1:] + latitude_deg[:-1]) * (np.pi / 360.0)
        sine = np.sin(middle_rad, out=middle_rad)
        square = sine * sine
        flat = 1.0 - GEOD.es * square
        normal = np.radians(GEOD.a) / np.sqrt(flat)  # metres per degree
        east = np.sqrt(1.0 - square)
        east *= normal
        east *= east_deg
        north = normal
        north *= (1.0 - GEOD.es) * north_deg
        north /= flat
        turn = sine
        turn *= east_deg
        turn *= np.pi / 360.0
        if _beyond(north_deg, _SHORT_DEG) or _beyond(east_deg, _SHORT_DEG):
            far = np.maximum(np.abs(north_deg), np.abs(east_deg)) > _SHORT_DEG
            long = np.flatnonzero(far)
            azimuth, _, metres = GEOD.inv(
                longitude_deg[long],
                latitude_deg[long],
                longitude_deg[long + 1],
                latitude_deg[long + 1],
            )
            east[long] = metres * np.sin(np.radians(azimuth))
            north[long] = metres * np.cos(np.radians(azimuth))
            turn[long] = 0.0
        return cls(east, north, turn)

    @property
    def columns(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """All arrays."""
        return self.east_m, self.north_m, self.turn_rad

    @property
    def length_m(self) -> FloatArray:
        """Lengths [m]."""
        return root_of_squares(self.east_m, self.north_m)

    @property
    def azimuth_rad(self) -> FloatArray:
        """Azimuths at the start, clockwise from north [rad]."""
        return np.arctan2(self.east_m, self.north_m) - self.turn_rad


def root_of_squares(one: FloatArray, other: FloatArray) -> FloatArray:
    """√(x² + y²): `np.hypot` for numbers that are far from the largest and smallest floats."""
    squares = one * one
    squares += other * other
    return np.sqrt(squares, out=squares)


def _beyond(values: FloatArray, limit: float) -> bool:
    """Whether any value is farther from zero."""
    return bool(values.max(initial=0.0) > limit or values.min(initial=0.0) < -limit)
