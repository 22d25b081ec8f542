"""Which straight pieces of lines lie near the steps of a ride, in metres that hold anywhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.motion.plane import METRES_PER_DEGREE, short_way, without_jumps
from wherewatt.motion.ride import Ride


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Straight pieces of lines.

    Parameters
    ----------
    start, way : (s, 2) where a piece begins and how far it goes: longitude and latitude, the
        longitude counted from a common meridian, so that the date line is no edge [degree].
    owner : (s,) the line it belongs to.
    """

    start: FloatArray
    way: FloatArray
    owner: IntArray

    @classmethod
    def between(
        cls, longitude_deg: FloatArray, latitude_deg: FloatArray, line: IntArray, origin_deg: float
    ) -> Pieces:
        """Pieces between neighbouring positions of the same line; none of no length."""
        way = np.column_stack([short_way(np.diff(longitude_deg)), np.diff(latitude_deg)])
        kept = (line[1:] == line[:-1]) & np.any(way != 0.0, axis=1)
        start = np.column_stack([short_way(longitude_deg - origin_deg), latitude_deg])[:-1]
        return cls(start[kept], way[kept], line[:-1][kept])

    def line_m(self, lines: int) -> FloatArray:
        """(lines,) length of every line [m]."""
        east = self.way[:, 0] * np.cos(np.radians(self.start[:, 1] + self.way[:, 1] / 2.0))
        length = METRES_PER_DEGREE * np.hypot(east, self.way[:, 1])
        return np.asarray(np.bincount(self.owner, weights=length, minlength=lines))


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Places along a ride.

    Parameters
    ----------
    distance_m : (k,) distance travelled [m].
    place : (k, 2) longitude from the common meridian and latitude [degree].
    heading_rad : (k,) direction of travel, clockwise from north [rad].
    """

    distance_m: FloatArray
    place: FloatArray
    heading_rad: FloatArray

    @classmethod
    def along(cls, ride: Ride, distance_m: FloatArray, origin_deg: float) -> Steps:
        """Steps of a ride at the given distances."""
        longitude = without_jumps(short_way(ride.longitude_deg - origin_deg))
        place = np.column_stack(
            [
                np.interp(distance_m, ride.distance_m, longitude),
                np.interp(distance_m, ride.distance_m, ride.latitude_deg),
            ]
        )
        leg = np.clip(np.searchsorted(ride.distance_m, distance_m) - 1, 0, len(ride.standing) - 1)
        return cls(distance_m, place, ride.heading_rad[leg])


@dataclass(frozen=True, slots=True, eq=False)
class Nearby:
    """Pairs of a step and a piece near it; all arrays (c,).

    Parameters
    ----------
    step, piece : which.
    aside_m : distance of the step from the piece's straight line [m].
    beyond_m : how far past the nearer end of the piece it lies, 0 beside it [m].
    part : where beside the piece it lies, from 0 (its start) to 1.
    turn_rad : direction of travel against the piece's, from −π to π [rad].
    """

    step: IntArray
    piece: IntArray
    aside_m: FloatArray
    beyond_m: FloatArray
    part: FloatArray
    turn_rad: FloatArray

    @property
    def distance_m(self) -> FloatArray:
        """Distance between step and piece [m]."""
        return np.hypot(self.aside_m, self.beyond_m)


def find_nearby(steps: Steps, pieces: Pieces, reach_m: float) -> Nearby:
    """All pairs within reach of each other, and some that are not.

    Every pair is measured in the plane of its own step, so metres hold at any latitude, however
    far the lines reach. Pieces are straight in longitude and latitude, as RFC 7946 section 3.1.1
    has it.
    """
    step, piece = _pairs(steps, pieces, reach_m)
    cosine = np.cos(np.radians(steps.place[step, 1]))
    scale = METRES_PER_DEGREE * np.column_stack([cosine, np.ones(len(step))])
    way = pieces.way[piece] * scale
    to_step = (steps.place[step] - pieces.start[piece]) * scale
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)
    along = np.sum(to_step * way, axis=1) / length
    aside = np.abs(to_step[:, 0] * way[:, 1] - to_step[:, 1] * way[:, 0]) / length
    turn = steps.heading_rad[step] - np.arctan2(way[:, 0], way[:, 1])
    return Nearby(
        step=step,
        piece=piece,
        aside_m=aside,
        beyond_m=np.maximum(np.maximum(-along, along - length), 0.0),
        part=np.clip(along / length, 0.0, 1.0),
        turn_rad=np.angle(np.exp(1j * turn)),
    )


def _pairs(steps: Steps, pieces: Pieces, reach_m: float) -> tuple[IntArray, IntArray]:
    reach = reach_m / METRES_PER_DEGREE
    # Drawn in by the least cosine on the way, so that no distance comes out too great.
    squeeze = np.array([np.min(np.cos(np.radians(steps.place[:, 1]))), 1.0])
    place, start = steps.place * squeeze, pieces.start * squeeze
    end = start + pieces.way * squeeze
    low, high = np.min(place, axis=0) - reach, np.max(place, axis=0) + reach
    around = np.all((np.maximum(start, end) >= low) & (np.minimum(start, end) <= high), axis=1)
    chosen = np.flatnonzero(around)
    lines = shapely.linestrings(np.stack([start[chosen], end[chosen]], axis=1))
    step, piece = shapely.STRtree(lines).query(
        shapely.points(place), predicate="dwithin", distance=reach
    )
    return step, chosen[piece]
