"""Maps that any GIS opens: the rules of RFC 7946 (Butler and others 2016), and other readers."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod

from tests.test_formats import rows
from wherewatt.columns import SECTION_COLUMNS, TRACK_COLUMNS
from wherewatt.report.column_files import write_parquet
from wherewatt.report.geo import (
    line_geometry,
    sections_geojson,
    sections_geoparquet,
    track_geojson,
)
from wherewatt.report.result import RideResult
from wherewatt.report.tables import sections_frame

GEOD = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def maps(simulated_result: RideResult) -> dict[str, dict[str, Any]]:
    return {
        "sections": json.loads(sections_geojson(simulated_result), parse_constant=pytest.fail),
        "track": json.loads(track_geojson(simulated_result), parse_constant=pytest.fail),
    }


@pytest.mark.parametrize("which", ["sections", "track"])
def test_the_rules_of_rfc_7946(maps: dict[str, dict[str, Any]], which: str) -> None:
    """Sections 3.1.1, 3.1.4, 3.2, 3.3 and 4: members, order and range of positions, no crs."""
    document = maps[which]
    assert set(document) == {"type", "features"}
    assert document["type"] == "FeatureCollection"
    for feature in document["features"]:
        assert set(feature) == {"type", "geometry", "properties"}
        assert feature["type"] == "Feature"
        assert set(feature["geometry"]) == {"type", "coordinates"}
        assert feature["geometry"]["type"] == "LineString"
        positions = np.array(feature["geometry"]["coordinates"])
        assert positions.shape[1:] == (2,)
        assert len(positions) >= 2
        assert np.abs(positions[:, 0]).max() <= 180.0
        assert np.abs(positions[:, 1]).max() <= 90.0
        assert np.array_equal(positions, np.round(positions, 6))


def test_properties_of_sections_are_those_of_the_table(
    simulated_result: RideResult, maps: dict[str, dict[str, Any]]
) -> None:
    frame = sections_frame(simulated_result)
    features = maps["sections"]["features"]
    assert len(features) == len(frame)
    for feature, row in zip(features, frame.to_dict("records"), strict=True):
        properties = feature["properties"]
        assert list(properties) == [column.name for column in SECTION_COLUMNS]
        for name in ("section", "name", "terrain", "flow", "surface", "battery_wh", "share_pct"):
            assert properties[name] == row[name]
        for name in ("start_time", "end_time"):
            assert properties[name].endswith("Z")
            assert pd.Timestamp(properties[name]) == row[name]


def test_another_reader_sees_the_ride(
    simulated_result: RideResult, maps: dict[str, dict[str, Any]]
) -> None:
    """GEOS reads the geometries; PROJ measures them: lengths are the sections' lengths."""
    ride = simulated_result.ride
    for which in ("sections", "track"):
        collection = shapely.from_geojson(json.dumps(maps[which]))
        lines = shapely.get_parts(collection)
        assert shapely.is_valid(lines).all()
        for feature, line in zip(maps[which]["features"], lines, strict=True):
            properties = feature["properties"]
            km = properties["end_km"] - properties["start_km"]
            # The ride's length follows bends between points and leaves out drift in stops.
            assert GEOD.geometry_length(line) / 1000.0 == pytest.approx(km, rel=0.03, abs=0.05)
        ends = shapely.get_coordinates(lines[[0, -1]])[[0, -1]]
        true = np.column_stack([ride.longitude_deg, ride.latitude_deg])[[0, -1]]
        assert ends == pytest.approx(true, abs=1e-6)
        for before, after in pairwise(lines):
            assert before.coords[-1] == after.coords[0]


def test_the_track_is_cut_by_surface_and_structure_alone(
    simulated_result: RideResult, maps: dict[str, dict[str, Any]]
) -> None:
    properties = pd.DataFrame([feature["properties"] for feature in maps["track"]["features"]])
    assert list(properties) == [column.name for column in TRACK_COLUMNS]
    tags = list(zip(properties["surface"], properties["structure"], strict=True))
    assert all(before != after for before, after in pairwise(tags))
    assert (properties["start_time"][1:].to_numpy() == properties["end_time"][:-1]).all()
    frame = sections_frame(simulated_result)
    assert properties["end_km"].iloc[-1] == frame["end_km"].iloc[-1]
    for surface, part in frame.groupby("surface"):
        own = properties[properties["surface"] == surface]
        km = (own["end_km"] - own["start_km"]).sum()
        assert km == pytest.approx(part["distance_km"].sum(), abs=1e-9)


def test_documented_properties_of_the_track() -> None:
    heading = "`sections.geojson`, `track.geojson`, `sections.parquet`: maps"
    assert rows(heading) == [[column.name, column.unit, column.meaning] for column in TRACK_COLUMNS]


@pytest.mark.parametrize("heading", [1.0, -1.0], ids=["east", "west"])
def test_a_way_across_the_antimeridian_is_cut(heading: float) -> None:
    """RFC 7946 section 3.1.9: no part crosses it, and the parts end on it, at its either side."""
    longitude = 180.0 + heading * np.array([-0.003, -0.001, 0.001, 0.004])
    place = np.column_stack([(longitude + 180.0) % 360.0 - 180.0, [-17.0, -17.0, -17.002, -17.003]])
    geometry = line_geometry(place)
    assert geometry is not None
    assert geometry["type"] == "MultiLineString"
    side = 180.0 * heading
    first, second = geometry["coordinates"]
    assert first[-1] == pytest.approx([side, -17.001])
    assert second[0] == pytest.approx([-side, -17.001])
    assert np.array(first[:-1]) == pytest.approx(place[:2])
    assert np.array(second[1:]) == pytest.approx(place[2:])
    whole = shapely.from_geojson(json.dumps(geometry))
    assert shapely.is_valid(whole)
    assert whole.bounds[0] == -180.0
    assert whole.bounds[2] == 180.0


def test_ways_that_touch_the_antimeridian() -> None:
    """Ends on it, begins on it, along it, there and back: nothing is lost, no part is a point."""
    for longitude in (
        [179.999, 180.0],
        [180.0, 179.999],
        [-180.0, -179.999],
        [179.999, -180.0, -179.999],
        [180.0, -180.0, 180.0],
        [179.999, -179.999, 179.999],
    ):
        latitude = 60.0 + 0.001 * np.arange(len(longitude))
        geometry = line_geometry(np.column_stack([longitude, latitude]))
        assert geometry is not None
        line = shapely.from_geojson(json.dumps(geometry))
        assert shapely.is_valid(line)
        assert line.bounds[1::2] == pytest.approx((latitude[0], latitude[-1]))
        widths = [part.bounds[2] - part.bounds[0] for part in shapely.get_parts(line)]
        assert max(widths) < 0.01


def test_nothing_ridden_has_no_place() -> None:
    """RFC 7946 section 3.2: a feature without a place has the geometry null."""
    assert line_geometry(np.array([[7.0, 46.0], [7.0, 46.0]])) is None
    assert line_geometry(np.array([[7.0, 46.0], [7.0000001, 46.0]])) is None


def test_geopandas_opens_both(simulated_result: RideResult, tmp_path: Path) -> None:
    geopandas = pytest.importorskip("geopandas")
    frame = sections_frame(simulated_result)
    path = tmp_path / "sections.geojson"
    path.write_text(sections_geojson(simulated_result), encoding="utf-8")
    on_map = geopandas.read_file(path)
    assert on_map.crs == "EPSG:4326"
    assert list(on_map["name"]) == list(frame["name"])
    write_parquet(sections_geoparquet(simulated_result), tmp_path / "sections.parquet")
    typed = geopandas.read_parquet(tmp_path / "sections.parquet")
    assert typed.crs == "OGC:CRS84"
    assert list(typed.columns) == [*(column.name for column in SECTION_COLUMNS), "geometry"]
    assert list(typed["battery_wh"]) == list(frame["battery_wh"])
    assert typed.geometry.to_crs(4326).geom_equals_exact(on_map.geometry, 1e-9).all()
    # The schema's own rules: geoparquet.org, version 1.0.0, "File metadata".
    import pyarrow.parquet as pq

    geo = json.loads(pq.read_schema(tmp_path / "sections.parquet").metadata[b"geo"])
    assert geo["version"].startswith("1.")
    assert geo["primary_column"] == "geometry"
    column = geo["columns"]["geometry"]
    assert column["encoding"] == "WKB"
    assert set(column["geometry_types"]) == set(typed.geom_type)
    assert column["bbox"] == list(typed.total_bounds)
