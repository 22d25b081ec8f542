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
        north_deg = np.diff(latitude_deg)
        east_deg = short_way(np.diff(longitude_deg))
        sine = np.sin(np.radians(latitude_deg[:-1] + north_deg / 2.0))
        flat = 1.0 - GEOD.es * np.square(sine)
        normal = np.radians(GEOD.a) / np.sqrt(flat)  # metres per degree
        east = normal * np.sqrt(1.0 - np.square(sine)) * east_deg
        north = normal * (1.0 - GEOD.es) / flat * north_deg
        turn = np.radians(sine * east_deg) / 2.0
        long = np.flatnonzero(np.maximum(np.abs(north_deg), np.abs(east_deg)) > _SHORT_DEG)
        if len(long):
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
    def length_m(self) -> FloatArray:
        """Lengths [m]."""
        return np.sqrt(np.square(self.east_m) + np.square(self.north_m))

    @property
    def azimuth_rad(self) -> FloatArray:
        """Azimuths at the start, clockwise from north [rad]."""
        return np.arctan2(self.east_m, self.north_m) - self.turn_rad
