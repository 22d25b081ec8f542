"""Hills of a ride: the stretch that a name or two places stand for, and every passage over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from wherewatt.arrays import FloatArray, IntArray, runs
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem, nearest_name
from wherewatt.ingest.place import EXPECTED, Place, parse_place
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.geodesy import leg_lengths
from wherewatt.motion.locate import Locator
from wherewatt.motion.ride import Ride
from wherewatt.report.result import RideResult
from wherewatt.sections.names import Feature, FeatureKind, find_features
from wherewatt.sections.places import match_places

_WHOLE = 0.8  # share of a hill's length that makes a passage of it
_HOLE_M = 60.0  # a passage may be lost for so long: positions err
_FINE_M = 5.0
_METRES_PER_DEGREE = 111_195.0  # of latitude, on a sphere of 6371 km


@dataclass(frozen=True, slots=True, eq=False)
class Hill:
    """A road that climbs.

    Parameters
    ----------
    name : for people.
    line : where it runs.
    length_m : its length [m].
    """

    name: str
    line: TaggedLine
    length_m: float


@dataclass(frozen=True, slots=True)
class Passage:
    """A ride's way over a hill: the half-open range of its legs, and whether it went up."""

    first: int
    end: int
    upward: bool


def hill_named(result: RideResult, name: str) -> Hill:
    """The hill of a name: a place that was tagged with it, or a climb of the ride.

    Parameters
    ----------
    name : as in places.geojson, or as sections are called ("climb at 6.2 km"); empty for the
        climb of most height.

    Raises
    ------
    InputError
        If there is none of that name, telling those that there are.
    """
    places = {place.name.casefold(): place for place in result.recording.places if place.name}
    if place := places.get(name.casefold()):
        return Hill(place.name, place, _length_m(place))
    climbs = [
        feature
        for feature in find_features(result.sections)
        if feature.kind in (FeatureKind.CLIMB, FeatureKind.DESCENT, FeatureKind.BRIDGE)
    ]
    if not name:
        climbs = [feature for feature in climbs if feature.kind is FeatureKind.CLIMB]
        climbs = sorted(climbs, key=lambda feature: _rise_m(result, feature))[-1:]
    else:
        climbs = [feature for feature in climbs if feature.name.casefold() == name.casefold()]
    if not climbs:
        raise _no_hill(result, name)
    found = climbs[0]
    return _hill_between(result.ride, found.name, found.start_m, found.end_m)


def hill_between(result: RideResult, start: str, end: str) -> Hill:
    """The hill between two places of a ride, as a person writes them ("2.2 mi", "0:31:00").

    Raises
    ------
    InputError
        If they are none, lie outside the ride, or the second is not behind the first.
    """
    places = [_place(option, text) for option, text in (("--from", start), ("--to", end))]
    locator = Locator.fitted(result.ride, places)
    at = []
    for option, place in zip(("--from", "--to"), places, strict=True):
        try:
            at.append(locator.time_s(place))
        except ValueError as error:
            raise InputError(Problem(option, "", place.text, str(error))) from error
    ride = result.ride
    start_m, end_m = np.interp(at, ride.time_s, ride.distance_m).tolist()
    if end_m <= start_m:
        raise InputError(Problem("--to", "", end, f"a place behind {start}"))
    return _hill_between(ride, f"{start} to {end}", start_m, end_m)


def passages(result: RideResult, hill: Hill, config: Config) -> tuple[Passage, ...]:
    """Every passage over a hill, either way, in order.

    A ride that turns on the hill's ends passes it with every turn; stops there are left out.
    """
    ride, height = result.ride, result.height_m
    on_it = match_places(ride, [hill.line], config.places) >= 0
    found = []
    for first, end in _joined(runs(on_it), ride.distance_m):
        along = _along(ride, np.arange(first, end + 1), hill)
        for start, stop in _swings(along, _WHOLE * hill.length_m):
            upward = bool(height[first + stop] >= height[first + start])
            found.append(Passage(first + start, first + stop, upward))
    return tuple(found)


def _along(ride: Ride, points: IntArray, hill: Hill) -> FloatArray:
    """How far along a hill's line the nearest place of it lies, for some points of a ride [m]."""
    line = hill.line
    east, north = _plane(line.longitude_deg, line.latitude_deg, line)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    fine = np.linspace(0.0, way[-1], max(2, round(way[-1] / _FINE_M)) + 1)
    own = _plane(ride.longitude_deg[points], ride.latitude_deg[points], line)
    tree = cKDTree(np.stack([np.interp(fine, way, east), np.interp(fine, way, north)], axis=1))
    return fine[tree.query(np.stack(own, axis=1))[1]]


def _plane(
    longitude_deg: FloatArray, latitude_deg: FloatArray, line: TaggedLine
) -> tuple[FloatArray, FloatArray]:
    """East and north of a line's start on a plane, good to a thousandth over a hill [m]."""
    north = (latitude_deg - line.latitude_deg[0]) * _METRES_PER_DEGREE
    shrink = np.cos(np.radians(line.latitude_deg[0]))
    return (longitude_deg - line.longitude_deg[0]) * _METRES_PER_DEGREE * shrink, north


def _swings(along_m: FloatArray, least_m: float) -> list[tuple[int, int]]:
    """Ranges of points over which a distance rises or falls by so much without turning back."""
    turns, way = [0], 0
    for point, value in enumerate(along_m.tolist()):
        last = float(along_m[turns[-1]])
        if way == 0 and abs(value - last) >= least_m / 2.0:
            way = 1 if value > last else -1
            turns.append(point)
        elif way and way * (value - last) >= 0.0:
            turns[-1] = point
        elif way and way * (last - value) >= least_m / 2.0:
            way = -way
            turns.append(point)
    found = []
    for start, end in pairwise(turns):
        part, (low, high) = along_m[start : end + 1], sorted(along_m[[start, end]].tolist())
        if high - low < least_m:
            continue
        rising = part[-1] > part[0]
        at_start = part <= low + _FINE_M if rising else part >= high - _FINE_M
        at_end = part >= high - _FINE_M if rising else part <= low + _FINE_M
        found.append((start + int(np.flatnonzero(at_start)[-1]), start + int(np.argmax(at_end))))
    return found


def _joined(found: Sequence[tuple[int, int]], way_m: FloatArray) -> list[tuple[int, int]]:
    """Runs of legs, with those that only a short hole parts made one."""
    joined: list[tuple[int, int]] = []
    for first, end in found:
        if joined and way_m[first] - way_m[joined[-1][1]] <= _HOLE_M:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((first, end))
    return joined


def _hill_between(ride: Ride, name: str, start_m: float, end_m: float) -> Hill:
    inside = (ride.distance_m >= start_m) & (ride.distance_m <= end_m)
    points: IntArray = np.flatnonzero(inside)
    kept = points[np.concatenate([[True], np.diff(ride.distance_m[points]) > 0.0])]
    line = TaggedLine(name, "", "", ride.longitude_deg[kept], ride.latitude_deg[kept])
    return Hill(name, line, end_m - start_m)


def _length_m(line: TaggedLine) -> float:
    return float(leg_lengths(line.latitude_deg, line.longitude_deg).sum())


def _rise_m(result: RideResult, feature: Feature) -> float:
    ends = result.profile.height_at(np.array([feature.start_m, feature.end_m]))
    return float(ends[1] - ends[0])


def _place(option: str, text: str) -> Place:
    try:
        return parse_place(text)
    except ValueError as error:
        raise InputError(Problem(option, "", f"'{text}'", EXPECTED)) from error


def _no_hill(result: RideResult, name: str) -> InputError:
    known = [place.name for place in result.recording.places if place.name]
    known += [
        feature.name
        for feature in find_features(result.sections)
        if feature.kind in (FeatureKind.CLIMB, FeatureKind.DESCENT, FeatureKind.BRIDGE)
    ]
    found = f"no hill '{name}'" if name else "no climb of 2 % or more"
    mend = nearest_name(name, known) if known else "say where it is with --from and --to"
    return InputError(Problem(result.name, "", found, "a hill of the ride", mend))
