"""Courses from what a user has: a planned route, a recorded ride, or the reference ride."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.ingest.places import TaggedLine, read_places
from wherewatt.ingest.plan import Route, read_plan
from wherewatt.ingest.recording import PLACES_NAME
from wherewatt.ingest.source import refuse
from wherewatt.ingest.track import Note
from wherewatt.motion.geodesy import GEOD, leg_lengths
from wherewatt.motion.plane import short_way, without_jumps
from wherewatt.motion.ride import Ride
from wherewatt.outlook.course import Course
from wherewatt.outlook.settings import OutlookSettings, ReferenceRide
from wherewatt.report.result import RideResult
from wherewatt.sections.places import match_places
from wherewatt.sections.surface import UNTAGGED
from wherewatt.terrain.blend import blend_heights
from wherewatt.terrain.nodes import nodes_of
from wherewatt.terrain.profile import Profile
from wherewatt.terrain.source import TerrainSource
from wherewatt.text import counted

_PLANNED_M_S = 5.0  # nothing of a plan depends on it: it only puts the points in order


def reference_course(ride: ReferenceRide, settings: OutlookSettings) -> Course:
    """The reference ride: even smooth hills, turning once through all directions; no stops yet.

    The height is a sine, whose ascent over one hill is twice its amplitude.
    """
    edge = _even_edges(ride.distance_m, settings.cell_m)
    hills = max(1, round(ride.distance_m / ride.hill_m))
    amplitude = ride.ascent_m_per_km * ride.distance_m / 1000.0 / hills / 2.0
    turn = 2.0 * np.pi * edge / ride.distance_m
    return Course(
        name="reference ride",
        edge_m=edge,
        height_m=ride.height_m + amplitude * np.sin(hills * turn),
        heading_rad=(turn[1:] + turn[:-1]) / 2.0,
        surface=np.zeros(len(edge) - 1, dtype=np.intp),
        surfaces=(ride.surface,),
        stops_m=np.zeros(0),
        loop=True,
    )


def recorded_course(result: RideResult, settings: OutlookSettings) -> Course:
    """The course of a recorded ride, with its heights, surfaces and stops."""
    ride, sections = result.ride, result.sections
    surfaces = tuple(sorted(set(sections.surface)))
    of_section = np.array([surfaces.index(name) for name in sections.surface], dtype=np.intp)
    edge = _even_edges(float(ride.distance_m[-1]), settings.cell_m)
    middle = (edge[1:] + edge[:-1]) / 2.0
    section = np.searchsorted(sections.edge_m[1:-1], middle, side="right")
    stops = np.unique([stop.distance_m for stop in ride.stops])
    return Course(
        name=result.name,
        edge_m=edge,
        height_m=result.profile.height_at(edge),
        heading_rad=_headings(ride, edge),
        surface=of_section[section],
        surfaces=surfaces,
        stops_m=stops[(stops > 1.0) & (stops < edge[-1] - 1.0)],
        loop=_ends_near_start(ride, settings),
    )


def planned_course(path: Path, terrain: TerrainSource, config: Config) -> Course:
    """The first route of a GPX file; no stops yet.

    Heights are those of the terrain where it is known, else the file's own. Surfaces are those of
    the places tagged beside the file.

    Raises
    ------
    InputError
        If the file, its places or a terrain tile cannot be used.
    """
    plan = read_plan(path, limits=config.ingest)
    route, *others = plan.routes
    length = float(leg_lengths(route.latitude_deg, route.longitude_deg).sum())
    if length < config.outlook.cell_m:
        refuse(path, f"a way of {length:.0f} m", f"one of {config.outlook.cell_m:.0f} m or more")
    beside = path.parent / PLACES_NAME
    places = read_places(beside, config.surfaces) if beside.is_file() else ()
    course = course_along(route, places, terrain, config)
    name = route.name or path.name.removesuffix(".gz").removesuffix(".gpx")
    notes = course.notes
    if others:
        message = f"{counted(len(others), 'other route')} in {path.name}: only the first is taken"
        notes = (Note("other-routes", message), *notes)
    return replace(course, name=name, notes=notes)


def course_along(
    route: Route, places: Sequence[TaggedLine], terrain: TerrainSource, config: Config
) -> Course:
    """A route as a course.

    It goes through the same rooms as a recorded ride: heights through the smoother along distance,
    so that the errors of a tile are not ridden up and down, and surfaces by tagged lines.
    """
    ride = _as_ride(route, config.terrain.grid_m)
    profile, notes = _heights(ride, terrain, config)
    edge = _even_edges(float(ride.distance_m[-1]), config.outlook.cell_m)
    line = match_places(ride, places, config.places)
    leg = np.searchsorted(ride.distance_m[1:-1], (edge[1:] + edge[:-1]) / 2.0, side="right")
    named = [
        places[number].surface or UNTAGGED if number >= 0 else UNTAGGED for number in line[leg]
    ]
    surfaces = tuple(sorted(set(named)))
    return Course(
        name=route.name,
        edge_m=edge,
        height_m=profile.height_at(edge),
        heading_rad=_headings(ride, edge),
        surface=np.array([surfaces.index(name) for name in named], dtype=np.intp),
        surfaces=surfaces,
        stops_m=np.zeros(0),
        loop=_ends_near_start(ride, config.outlook),
        notes=notes,
    )


def _heights(
    ride: Ride, terrain: TerrainSource, config: Config
) -> tuple[Profile, tuple[Note, ...]]:
    """Height along a route; the file's own only where no terrain is known."""
    nodes = nodes_of(ride, config.terrain)
    sample = terrain.survey(nodes.latitude_deg, nodes.longitude_deg)
    if np.isfinite(sample.height_m).any():
        # A planner takes its heights from terrain too: they are no second opinion.
        nodes = replace(nodes, recorded_m=np.full(len(nodes), np.nan), count=np.zeros(len(nodes)))
        return blend_heights(nodes, sample, config.terrain), sample.notes
    profile = blend_heights(nodes, sample, config.terrain)
    if np.isfinite(nodes.recorded_m).any():
        message = "no terrain tile: the heights are those of the file"
        return profile, (Note("heights-of-the-file", message),)
    message = "no terrain tile and no heights in the file: the road is taken as level"
    return profile, (Note("no-heights", message),)


def _as_ride(route: Route, spacing_m: float) -> Ride:
    """A route as if it had been ridden evenly, with a point every few metres along its lines."""
    lengths = leg_lengths(route.latitude_deg, route.longitude_deg)
    kept = np.concatenate([[True], lengths > 0.0])
    way = np.concatenate([[0.0], np.cumsum(lengths)])[kept]
    at = np.union1d(way, _even_edges(float(way[-1]), spacing_m))
    longitude = without_jumps(route.longitude_deg[kept])
    latitude, east = (np.interp(at, way, of) for of in (route.latitude_deg[kept], longitude))
    height = route.elevation_m[kept]
    known = np.isfinite(height)
    n = len(at)
    return Ride(
        start_unix_ns=0,
        recorded_from_s=0.0,
        time_s=at / _PLANNED_M_S,
        latitude_deg=latitude,
        longitude_deg=short_way(east),
        fixed=np.ones(n, dtype=bool),
        distance_m=at,
        speed_m_s=np.full(n, _PLANNED_M_S),
        recorded_height_m=np.interp(at, way[known], height[known])
        if known.any()
        else np.full(n, np.nan),
        rider_w=np.full(n, np.nan),
        heading_rad=np.radians(GEOD.inv(east[:-1], latitude[:-1], east[1:], latitude[1:])[0]),
        standing=np.zeros(n - 1, dtype=bool),
        stops=(),
    )


def _even_edges(length_m: float, about_m: float) -> FloatArray:
    """Edges of cells of one length, as near to the wanted one as fits."""
    return np.linspace(0.0, length_m, max(1, round(length_m / about_m)) + 1)


def _headings(ride: Ride, edge_m: FloatArray) -> FloatArray:
    """(k,) direction between the edges of the cells [rad]."""
    longitude = without_jumps(ride.longitude_deg)
    east, north = (np.interp(edge_m, ride.distance_m, of) for of in (longitude, ride.latitude_deg))
    return np.radians(GEOD.inv(east[:-1], north[:-1], east[1:], north[1:])[0])


def _ends_near_start(ride: Ride, settings: OutlookSettings) -> bool:
    ends = [0, -1]
    apart = float(leg_lengths(ride.latitude_deg[ends], ride.longitude_deg[ends])[0])
    return apart <= settings.loop_m
