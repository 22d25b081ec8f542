"""Which legs run along a line that was tagged for every ride."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from wherewatt.arrays import BoolArray, FloatArray, IntArray, runs
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.plane import METRES_PER_DEGREE
from wherewatt.motion.ride import Ride
from wherewatt.sections.settings import PlaceSettings


def match_places(ride: Ride, places: Sequence[TaggedLine], settings: PlaceSettings) -> IntArray:
    """(n−1,) index of the tagged line that each leg runs along, −1 for none.

    A leg runs along a line if its middle is within reach of it and parallel to it, either way
    round. Holes and crossings shorter than a few times the reach are not believed.
    """
    matched = np.full(len(ride.standing), -1, dtype=np.intp)
    if not places:
        return matched
    plane = _Plane(float(np.mean(ride.latitude_deg)), float(ride.longitude_deg[0]))
    segments, owner = _segments(places, plane)
    middles = plane.points(
        (ride.longitude_deg[1:] + ride.longitude_deg[:-1]) / 2.0,
        (ride.latitude_deg[1:] + ride.latitude_deg[:-1]) / 2.0,
    )
    lines = shapely.linestrings(segments)
    points = shapely.points(middles)
    leg, segment = shapely.STRtree(lines).query(
        points, predicate="dwithin", distance=settings.reach_m
    )
    way = segments[:, 1] - segments[:, 0]
    bearing = np.arctan2(way[:, 0], way[:, 1])[segment]
    off = np.abs(np.angle(np.exp(2j * (bearing - ride.heading_rad[leg])))) / 2.0
    parallel = off <= np.radians(settings.direction_deg)
    leg, segment = leg[parallel], segment[parallel]
    order = np.argsort(shapely.distance(points[leg], lines[segment]), kind="stable")[::-1]
    matched[leg[order]] = owner[segment[order]]  # the nearest is written last
    return _believable(matched, ride.leg_distance_m, 3.0 * settings.reach_m)


@dataclass(frozen=True, slots=True)
class _Plane:
    """Local plane around the ride."""

    latitude_deg: float
    longitude_deg: float

    def points(self, longitude_deg: FloatArray, latitude_deg: FloatArray) -> FloatArray:
        """(n, 2) east and north [m]."""
        turn = (longitude_deg - self.longitude_deg + 180.0) % 360.0 - 180.0
        east = turn * METRES_PER_DEGREE * np.cos(np.radians(self.latitude_deg))
        north = (latitude_deg - self.latitude_deg) * METRES_PER_DEGREE
        return np.column_stack([east, north])


def _segments(places: Sequence[TaggedLine], plane: _Plane) -> tuple[FloatArray, IntArray]:
    """(s, 2, 2) straight pieces of all lines and (s,) the line each belongs to."""
    pieces, owners = [], []
    for index, place in enumerate(places):
        corner = plane.points(place.longitude_deg, place.latitude_deg)
        piece = np.stack([corner[:-1], corner[1:]], axis=1)
        pieces.append(piece)
        owners.append(np.full(len(piece), index, dtype=np.intp))
    return np.concatenate(pieces), np.concatenate(owners)


def _believable(matched: IntArray, leg_m: FloatArray, shortest_m: float) -> IntArray:
    """Short holes filled from before, then short matches dropped."""
    way = np.concatenate([[0.0], np.cumsum(leg_m)])
    result = matched.copy()
    for first, end in runs(result < 0):
        bounded = first > 0 and end < len(result) and result[first - 1] == result[end]
        if bounded and way[end] - way[first] < shortest_m:
            result[first:end] = result[first - 1]
    for first, end in _runs_of_equal(result):
        if result[first] >= 0 and way[end] - way[first] < shortest_m:
            result[first:end] = -1
    return result


def _runs_of_equal(values: IntArray) -> list[tuple[int, int]]:
    changes: BoolArray = np.diff(values) != 0
    edges = np.concatenate([[0], np.flatnonzero(changes) + 1, [len(values)]])
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))
