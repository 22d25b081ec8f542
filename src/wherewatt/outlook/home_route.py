"""The way home from where a ride is now, along a planned route."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem
from wherewatt.ingest.plan import read_plan
from wherewatt.motion.geodesy import leg_lengths
from wherewatt.outlook.course import Course
from wherewatt.outlook.plans import planned_course
from wherewatt.report.result import RideResult
from wherewatt.terrain.source import TerrainSource

_BESIDE_M = 500.0  # a route that passes so near can be reached


def home_along(path: Path, result: RideResult, terrain: TerrainSource, config: Config) -> Course:
    """The part of a planned route from where a ride is now to the end that is nearer its start.

    So the route may be the way home itself, the way out, or a loop that is half done.

    Raises
    ------
    InputError
        If the file cannot be used, or the route does not pass where the ride is now.
    """
    course = planned_course(path, terrain, config)
    route = read_plan(path, limits=config.ingest).routes[0]
    ride = result.ride
    here, start = (
        _apart(route.latitude_deg, route.longitude_deg, course.edge_m, place)
        for place in (
            (float(ride.latitude_deg[-1]), float(ride.longitude_deg[-1])),
            (float(ride.latitude_deg[0]), float(ride.longitude_deg[0])),
        )
    )
    # Of places as near as each other the last: a way out and back is at the same place twice.
    near = np.flatnonzero(here <= here.min() + config.outlook.cell_m)
    at = float(course.edge_m[near[-1]])
    if here.min() > _BESIDE_M:
        found = f"a way that passes {here.min() / 1000.0:.1f} km from where {result.name} ends"
        raise InputError(
            Problem(course.name, "", found, "a way home from there", "plan it from where you are")
        )
    back, onward = float(start[0]), float(start[-1])
    if at > 0.0 and (back < onward or at >= course.length_m):
        return course.between(0.0, at).reversed()
    return course.between(at, course.length_m)


def _apart(
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    edge_m: FloatArray,
    place: tuple[float, float],
) -> FloatArray:
    """(k+1,) distance of the edges of a course from a place [m]."""
    way = np.concatenate([[0.0], np.cumsum(leg_lengths(latitude_deg, longitude_deg))])
    way *= edge_m[-1] / way[-1]
    latitude, longitude = (np.interp(edge_m, way, of) for of in (latitude_deg, longitude_deg))
    pairs = np.empty((2, 2 * len(edge_m)))
    pairs[0, ::2], pairs[1, ::2] = latitude, longitude
    pairs[0, 1::2], pairs[1, 1::2] = place
    return np.asarray(leg_lengths(pairs[0], pairs[1])[::2])
