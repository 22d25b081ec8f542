"""A ride and its tags as plain values, for the page."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.ingest.places import TaggedLine
from wherewatt.ingest.sidefile import STRUCTURES
from wherewatt.motion.plane import local_plane, without_jumps
from wherewatt.motion.ride import Ride
from wherewatt.report.palette import surface_fills
from wherewatt.report.wording import plain, words
from wherewatt.sections.places import match_places
from wherewatt.sections.settings import PlaceSettings
from wherewatt.sections.surface import UNTAGGED
from wherewatt.tagging.course import Course
from wherewatt.tagging.edits import Stretches, Tags
from wherewatt.units import DistanceUnit

_STEP_M = 4.0  # finer than a screen shows, even where one kilometre fills it
_FEWEST_POINTS, _MOST_POINTS = 200, 4000

Plain = dict[str, Any]


def ride_view(course: Course, config: Config, unit: DistanceUnit, file_name: str) -> Plain:
    """What does not change while the page is open: the ride, and what can be chosen."""
    return {
        "name": plain(file_name),
        "unit": str(unit),
        "total_m": round(course.total_m, 2),
        "points": _points(course),
        "surfaces": _surfaces(config.surfaces),
        "structures": [{"label": name, "words": words(name)} for name in STRUCTURES],
    }


def tags_view(tags: Tags) -> Plain:
    """Tags as lists of [start, end, label], distances in metres."""
    return {"surface": _stretches(tags.surface), "structure": _stretches(tags.structure)}


def places_view(
    ride: Ride, lines: Sequence[TaggedLine], settings: PlaceSettings
) -> list[dict[str, object]]:
    """Stretches along which the ride follows a tagged place, in order."""
    line = match_places(ride, lines, settings)
    edges = np.flatnonzero(np.diff(line)) + 1
    bounds = [0, *(int(edge) for edge in edges), len(line)]
    return [
        {
            "start_m": round(float(ride.distance_m[first]), 2),
            "end_m": round(float(ride.distance_m[end]), 2),
            "surface": lines[line[first]].surface,
            "structure": lines[line[first]].structure,
            "name": plain(lines[line[first]].name),
        }
        for first, end in itertools.pairwise(bounds)
        if line[first] >= 0 and ride.distance_m[end] > ride.distance_m[first]
    ]


def _points(course: Course) -> Plain:
    """The ride at even distances: height [m], time [s], and the ground plane [m]."""
    ride, total_m = course.ride, course.total_m
    count = int(np.clip(total_m / _STEP_M, _FEWEST_POINTS, _MOST_POINTS))
    at = np.linspace(0.0, total_m, count)
    longitude = without_jumps(ride.longitude_deg)
    plane = local_plane(
        np.interp(at, ride.distance_m, ride.latitude_deg),
        np.interp(at, ride.distance_m, longitude),
    )
    return {
        "distance_m": _rounded(at, 2),
        "height_m": _rounded(course.profile.height_at(at), 2),
        "time_s": _rounded(ride.time_at_distance(at), 1),
        "east_m": _rounded(plane[:, 0], 1),
        "north_m": _rounded(plane[:, 1], 1),
    }


def _surfaces(names: Collection[str]) -> list[dict[str, object]]:
    """Every known surface with its words, colour and hatch; what is untagged is not to choose."""
    fills = surface_fills(names)
    return [
        {
            "label": name,
            "words": words(name),
            "colour": fills[name].colour,
            "hatch": fills[name].hatch,
            "chosen": name != UNTAGGED,
        }
        for name in names
    ]


def _stretches(stretches: Stretches) -> list[list[object]]:
    return [[one.start_m, one.end_m, one.label] for one in stretches]


def _rounded(values: FloatArray, decimals: int) -> list[float]:
    return np.round(values, decimals).tolist()
