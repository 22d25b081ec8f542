"""Planned routes and waypoints of a GPX file, through gpxpy.

A plan says where to go, not when: it has no times and no recording. For recorded tracks see
`wherewatt.ingest.gpx`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.ingest.gpx import checked_text
from wherewatt.ingest.source import (
    DEFAULT_LIMITS,
    Format,
    Limits,
    read_as,
    refuse,
    refuse_beyond,
)

if TYPE_CHECKING:
    from gpxpy.gpx import GPXRoutePoint, GPXTrackPoint, GPXWaypoint

EXPECTED = "a whole GPX file with a planned route or a track"


@dataclass(frozen=True, slots=True)
class Waypoint:
    """A named place: WGS 84 [degree], height [m] or NaN."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """A way to go.

    Parameters
    ----------
    name : as the file gives it; may be empty.
    latitude_deg, longitude_deg : (n,) WGS 84 [degree].
    elevation_m : (n,) height [m], NaN where there is none.
    """

    name: str
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    elevation_m: FloatArray

    def __len__(self) -> int:
        return len(self.latitude_deg)


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """What a GPX file plans: its routes, its tracks taken as routes, and its waypoints."""

    routes: tuple[Route, ...]
    waypoints: tuple[Waypoint, ...]


def read_plan(path: Path | str, *, limits: Limits = DEFAULT_LIMITS) -> Plan:
    """Read the routes and waypoints of a GPX file; a track without need of times is a route too.

    Parameters
    ----------
    path : a .gpx or .gpx.gz file.
    limits : what is refused as absurd.

    Raises
    ------
    TrackError
        If the file cannot be read, is no GPX, or plans no way of two points or more.
    """
    import gpxpy  # slow to import, and only plans need it

    source = read_as(Path(path), Format.XML, EXPECTED, limits)
    text = checked_text(source)
    try:
        gpx = gpxpy.parse(text)
    except Exception as error:  # gpxpy raises what its parsers raise
        refuse(source.path, f"what gpxpy cannot read ({error})", EXPECTED)
    routes = [_route(route.name, route.points) for route in gpx.routes]
    routes += [
        _route(track.name, [point for part in track.segments for point in part.points])
        for track in gpx.tracks
    ]
    if sum(map(len, routes)) > limits.max_points:
        refuse_beyond(source.path, "max_points", limits.max_points, "points")
    kept = tuple(route for route in routes if len(route) >= 2)
    if not kept:
        refuse(source.path, "no way of two points or more", EXPECTED)
    return Plan(kept, tuple(_waypoint(point) for point in gpx.waypoints))


def _route(name: str | None, points: Iterable[GPXRoutePoint | GPXTrackPoint]) -> Route:
    """A route of those points that are on earth."""
    rows = [(point.latitude, point.longitude, _height(point)) for point in points]
    table = np.array(rows, dtype=np.float64).reshape(-1, 3)
    legal = (np.abs(table[:, 0]) <= 90.0) & (np.abs(table[:, 1]) <= 180.0)
    return Route(name or "", *table[legal].T)


def _waypoint(point: GPXWaypoint) -> Waypoint:
    return Waypoint(point.name or "", point.latitude, point.longitude, _height(point))


def _height(point: GPXRoutePoint | GPXTrackPoint | GPXWaypoint) -> float:
    return np.nan if point.elevation is None else float(point.elevation)
