"""A stretch of the ride as a line on the ground, and putting it among the tagged places."""

from __future__ import annotations

import contextlib
import json
import re
from typing import Any

import numpy as np
from shapely import LineString

from wherewatt.arrays import FloatArray
from wherewatt.motion.plane import local_plane, without_jumps
from wherewatt.motion.ride import Ride

DECIMALS = 6  # RFC 7946, section 11.2: about ten centimetres
_OFF_M = 1.0  # so far the line may run beside the ride: positions err by more

_MARK = re.compile(r'"(?:[^"\\]|\\.)*"|[\[\]{}:,]')


def place_feature(
    ride: Ride, start_m: float, end_m: float, properties: dict[str, str]
) -> dict[str, object]:
    """The path of a stretch as a GeoJSON feature (RFC 7946).

    Parameters
    ----------
    ride : the ride.
    start_m, end_m : ends of the stretch, as distances from the start [m].
    properties : name, surface and structure; empty ones are left out.

    Returns
    -------
    dict
        A LineString, or a MultiLineString where it crosses the date line (section 3.1.9).
    """
    rising = np.concatenate([[True], np.diff(ride.distance_m) > 0.0])
    distance = ride.distance_m[rising]
    inside = distance[(distance > start_m) & (distance < end_m)]
    at = np.concatenate([[start_m], inside, [end_m]])
    # Longitudes go on beyond 180° here, so that they can be interpolated.
    longitude = without_jumps(ride.longitude_deg[rising])
    line = np.column_stack(
        [np.interp(at, distance, longitude), np.interp(at, distance, ride.latitude_deg[rising])]
    )
    parts = [_rounded(part) for part in _cut_at_date_line(_thinned(line))]
    kind, coordinates = ("LineString", parts[0]) if len(parts) == 1 else ("MultiLineString", parts)
    return {
        "type": "Feature",
        "properties": {key: text for key, text in properties.items() if text},
        "geometry": {"type": kind, "coordinates": coordinates},
    }


def with_feature(text: str, feature: dict[str, object]) -> str:
    """The text of a GeoJSON file with one more feature; what stood there stays, to the letter.

    Parameters
    ----------
    text : a FeatureCollection, a Feature, or empty for a new file.
    feature : what is added, after the others.
    """
    new = json.dumps(feature, ensure_ascii=False, allow_nan=False)
    old: dict[str, Any] = json.loads(text) if text.strip() else {}
    if not old or old.get("type") == "Feature":
        before = f"{text.strip()},\n" if old else ""
        return f'{{"type": "FeatureCollection", "features": [\n{before}{new}\n]}}\n'
    whole = {**old, "features": [*old["features"], feature]}
    end = _features_end(text)
    if end is not None:
        head = text[:end].rstrip()
        comma = "," if old["features"] else ""
        spliced = f"{head}{comma}\n{new}{text[len(head) : end] or chr(10)}{text[end:]}"
        with contextlib.suppress(ValueError):  # the list was another, as with a key named twice
            if json.loads(spliced) == json.loads(json.dumps(whole)):
                return spliced
    return json.dumps(whole, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _features_end(text: str) -> int | None:
    """Where the list of features of a FeatureCollection is closed; None if that is not found."""
    depth, name, last, within = 0, "", "", False
    for match in _MARK.finditer(text):
        mark = match[0]
        if mark in "[{":
            depth += 1
            within = within or (mark == "[" and depth == 2 and name == "features")
        elif mark in "]}":
            if within and depth == 2:
                return match.start()
            depth -= 1
        elif depth == 1 and mark == ":":
            name = last
        elif depth == 1 and mark == ",":
            name = ""
        elif depth == 1:
            last = json.loads(mark)
    return None


def _thinned(line: FloatArray) -> FloatArray:
    """The line without points that it does not need (Douglas and Peucker 1973)."""
    plane = local_plane(line[:, 1], line[:, 0])
    thin = np.asarray(LineString(plane).simplify(_OFF_M, preserve_topology=False).coords)
    kept, at = [], 0
    for point in thin:  # its points are some of the line's, in order
        at += int(np.argmax(np.all(plane[at:] == point, axis=1)))
        kept.append(at)
    return line[kept]


def _cut_at_date_line(line: FloatArray) -> list[FloatArray]:
    """The line within ±180° of longitude, in parts if it crosses the date line."""
    world = np.floor((line[:, 0] + 180.0) / 360.0)
    parts, first = [], 0
    for after in [*(np.flatnonzero(np.diff(world)) + 1), len(line)]:
        part = line[first:after]
        if first:
            part = np.vstack([_crossing(line, first), part])
        if after < len(line):
            part = np.vstack([part, _crossing(line, after)])
        parts.append(part - [360.0 * world[first], 0.0])
        first = after
    return parts


def _crossing(line: FloatArray, after: int) -> FloatArray:
    """(2,) longitude and latitude where the line crosses the date line before a point."""
    (east, north), (to_east, to_north) = line[after - 1 : after + 1]
    edge = 360.0 * np.floor((max(east, to_east) + 180.0) / 360.0) - 180.0
    share = (edge - east) / (to_east - east)
    return np.array([edge, north + share * (to_north - north)])


def _rounded(part: FloatArray) -> list[list[float]]:
    return [[float(value) for value in position] for position in np.round(part, DECIMALS)]
