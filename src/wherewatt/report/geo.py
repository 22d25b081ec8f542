"""Sections and the tagged track on the map: GeoJSON (RFC 7946) and GeoParquet."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.columns import TRACK_COLUMNS
from wherewatt.motion.plane import without_jumps
from wherewatt.report.column_files import FileColumns
from wherewatt.report.result import RideResult
from wherewatt.report.table import Table
from wherewatt.report.tables import sections_table
from wherewatt.report.times import clock

_GEOMETRY = "geometry"
_DECIMALS = 6  # of a degree, about a decimetre: RFC 7946 section 11.2


def sections_geojson(result: RideResult) -> str:
    """One feature per section: its way, and the columns of sections.csv."""
    return _collection(sections_table(result), _section_lines(result))


def track_geojson(result: RideResult) -> str:
    """One feature per stretch of equal surface and structure: its way, and where and when it was.

    The columns are those of `wherewatt.columns.TRACK_COLUMNS`.
    """
    sections, ride = result.sections, result.ride
    tags = list(zip(sections.surface, sections.structure, strict=True))
    changes = [at for at in range(1, len(tags)) if tags[at] != tags[at - 1]]
    first = np.array([0, *changes], dtype=np.intp)
    points = sections.edges[np.append(first, len(sections))]
    times, km = clock(ride, ride.time_s[points]), ride.distance_m[points] / 1000.0
    table = Table.of(
        TRACK_COLUMNS,
        {
            "surface": [tags[at][0] for at in first],
            "structure": [tags[at][1] for at in first],
            "start_time": times[:-1],
            "end_time": times[1:],
            "start_km": km[:-1],
            "end_km": km[1:],
        },
    )
    return _collection(table, _lines(result, points))


def sections_geoparquet(result: RideResult) -> FileColumns:
    """The sections as GeoParquet: the columns of sections.csv and a column `geometry`.

    Source: OGC GeoParquet 1.0.0, "File metadata" and "Column metadata"; without `crs` positions
    are longitude and latitude on WGS 84 (OGC:CRS84).
    """
    lines = _section_lines(result)
    places = shapely.from_geojson([None if line is None else json.dumps(line) for line in lines])
    types = sorted({str(line["type"]) for line in lines if line is not None})
    column: dict[str, Any] = {"encoding": "WKB", "geometry_types": types}
    if types:  # else there is no place at all
        column["bbox"] = shapely.total_bounds(places).tolist()
    about = {"version": "1.0.0", "primary_column": _GEOMETRY, "columns": {_GEOMETRY: column}}
    data = sections_table(result).for_parquet()
    return replace(
        data,
        binary={_GEOMETRY: shapely.to_wkb(places).tolist()},
        order=(*data.order, _GEOMETRY),
        about={"geo": json.dumps(about)},
    )


def _section_lines(result: RideResult) -> list[dict[str, Any] | None]:
    sections = result.sections
    return _lines(result, sections.edges)


def _lines(result: RideResult, points: IntArray) -> list[dict[str, Any] | None]:
    """The way between each of the points of the ride and the next, as geometries."""
    ride = result.ride
    place = np.column_stack([ride.longitude_deg, ride.latitude_deg])
    return [line_geometry(place[first : end + 1]) for first, end in pairwise(points.tolist())]


def line_geometry(place_deg: FloatArray) -> dict[str, Any] | None:
    """A way as a LineString; as a MultiLineString cut at the antimeridian if it crosses it.

    RFC 7946 sections 3.1.4, 3.1.5 and 3.1.9.

    Parameters
    ----------
    place_deg : (n, 2) longitude and latitude [degree].

    Returns
    -------
    The geometry; None, which stands for a feature without a place, where nothing was ridden.
    """
    parts = [_without_repeats(np.round(part, _DECIMALS)) for part in _cut(place_deg)]
    kept = [part.tolist() for part in parts if len(part) > 1]
    if not kept:
        return None
    if len(kept) == 1:
        return {"type": "LineString", "coordinates": kept[0]}
    return {"type": "MultiLineString", "coordinates": kept}


def _cut(place_deg: FloatArray) -> list[FloatArray]:
    """The parts of a way on either side of the antimeridian, each with its end on it."""
    unwound = place_deg.copy()
    unwound[:, 0] = without_jumps(place_deg[:, 0])
    turn = np.floor((unwound[:, 0] + 180.0) / 360.0)
    parts = []
    start = unwound[:0]
    first = 0
    for last in np.flatnonzero(np.diff(turn)).tolist():
        edge = 360.0 * max(turn[last], turn[last + 1]) - 180.0
        before, after = unwound[last], unwound[last + 1]
        share = (edge - before[0]) / (after[0] - before[0])
        crossing = np.array([[edge, before[1] + share * (after[1] - before[1])]])
        part = np.vstack([start, unwound[first : last + 1], crossing])
        parts.append(part - [360.0 * turn[last], 0.0])
        start, first = crossing, last + 1
    return [*parts, np.vstack([start, unwound[first:]]) - [360.0 * turn[-1], 0.0]]


def _without_repeats(place: FloatArray) -> FloatArray:
    new = np.ones(len(place), dtype=bool)
    new[1:] = np.any(place[1:] != place[:-1], axis=1)
    return place[new]


def _collection(table: Table, lines: Iterable[dict[str, Any] | None]) -> str:
    """A FeatureCollection, one feature a line."""
    features = [
        json.dumps(
            {"type": "Feature", "geometry": line, "properties": _without_nan(row)},
            allow_nan=False,
            ensure_ascii=False,
        )
        for row, line in zip(table.rows(), lines, strict=True)
    ]
    return '{"type": "FeatureCollection", "features": [\n' + ",\n".join(features) + "\n]}\n"


def _without_nan(row: dict[str, Any]) -> dict[str, Any]:
    return {name: None if value != value else value for name, value in row.items()}
