"""Places tagged once for every ride that passes: lines with a surface, in GeoJSON (RFC 7946)."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.ingest.sidefile import ProblemList, quoted, read_text
from wherewatt.ingest.tags import refuse_unknown


@dataclass(frozen=True, slots=True, eq=False)
class TaggedLine:
    """A line on the ground with its surface.

    Parameters
    ----------
    name : the user's own name of it; may be empty.
    surface : a known surface; empty if only the structure is tagged.
    structure : "bridge", "tunnel" or empty.
    longitude_deg, latitude_deg : shape (n,) with n >= 2, WGS 84 [degree].
    """

    name: str
    surface: str
    structure: str
    longitude_deg: FloatArray
    latitude_deg: FloatArray


def read_places(path: Path, known_surfaces: Collection[str]) -> tuple[TaggedLine, ...]:
    """Read tagged lines: one per LineString, one per part of a MultiLineString.

    Raises
    ------
    SideFileError
        With one problem per thing to mend.
    """
    problems = ProblemList(path)
    lines: list[TaggedLine] = []
    for number, feature in enumerate(_features(problems), start=1):
        lines.extend(_lines(feature, f"feature {number}", known_surfaces, problems))
    problems.raise_any()
    return tuple(lines)


def _features(problems: ProblemList) -> list[Any]:
    """Read the features; none, and a problem, if the file is no GeoJSON."""
    text = read_text(problems.path)
    try:
        document = json.loads(text, parse_constant=_refuse_constant)
    except json.JSONDecodeError as error:
        problems.add(f"line {error.lineno}", error.msg, "GeoJSON")
        return []
    except (ValueError, RecursionError) as error:
        problems.add("", str(error), "GeoJSON")
        return []
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "Feature":
        return [document]
    if kind != "FeatureCollection" or not isinstance(document.get("features"), list):
        found = f"type {quoted(str(kind))}" if kind else "JSON that is no GeoJSON"
        problems.add("", found, "a FeatureCollection or a Feature")
        return []
    features: list[Any] = document["features"]
    return features


def _refuse_constant(name: str) -> NoReturn:
    """NaN and Infinity, which Python's reader would take, are no JSON."""
    raise ValueError(f"the number {name}")


def _lines(
    feature: Any, place: str, known_surfaces: Collection[str], problems: ProblemList
) -> list[TaggedLine]:
    """Make the tagged lines of one feature; none if something is wrong with it."""
    before = len(problems.problems)
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        problems.add(place, "something else", 'an object of type "Feature"')
        return []
    tags = _tags(feature, place, problems)
    if tags is not None:
        refuse_unknown(place, tags["surface"], tags["structure"], known_surfaces, problems)
    parts = [_positions(part, place, problems) for part in _parts(feature, place, problems)]
    if tags is None or len(problems.problems) > before:
        return []
    return [TaggedLine(**tags, longitude_deg=part[:, 0], latitude_deg=part[:, 1]) for part in parts]


def _tags(feature: dict[str, Any], place: str, problems: ProblemList) -> dict[str, str] | None:
    """Name, surface and structure; None if they are no text."""
    properties = feature.get("properties")
    if not isinstance(properties, dict):
        properties = {}
    tags = {key: properties.get(key) or "" for key in ("name", "surface", "structure")}
    wrong = [key for key, value in tags.items() if not isinstance(value, str)]
    for key in wrong:
        problems.add(place, f"{key} {quoted(str(tags[key]))}", "text in quotes")
    if wrong:
        return None
    return {key: text if key == "name" else text.strip().casefold() for key, text in tags.items()}


def _parts(feature: dict[str, Any], place: str, problems: ProblemList) -> list[Any]:
    """Get the coordinate lists of a feature, one per line."""
    geometry = feature.get("geometry")
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if not isinstance(geometry, dict) or kind not in ("LineString", "MultiLineString"):
        found = f"geometry {quoted(str(kind))}" if kind else "no geometry"
        problems.add(place, found, "a LineString or a MultiLineString")
        return []
    coordinates = geometry.get("coordinates")
    parts = [coordinates] if kind == "LineString" else coordinates
    if not isinstance(parts, list) or not parts:
        problems.add(place, "no coordinates", "positions [longitude, latitude]")
        return []
    return parts


def _positions(part: Any, place: str, problems: ProblemList) -> FloatArray:
    """Longitude and latitude, shape (n, 2) [degree]; a problem for the first bad position."""
    if not isinstance(part, list) or len(part) < 2:
        problems.add(place, "a line of fewer than two positions", "two or more")
        return np.empty((0, 2))
    for number, position in enumerate(part, start=1):
        if not _is_position(position):
            problems.add(
                f"{place}, position {number}",
                quoted(json.dumps(position)),
                "[longitude, latitude] within ±180 and ±90 degrees",
            )
            return np.empty((0, 2))
    return np.array([position[:2] for position in part], dtype=np.float64)


def _is_position(position: Any) -> bool:
    return (
        isinstance(position, list)
        and len(position) >= 2
        and all(isinstance(value, int | float) for value in position[:2])
        and not any(isinstance(value, bool) for value in position[:2])
        and -180.0 <= position[0] <= 180.0
        and -90.0 <= position[1] <= 90.0
    )
