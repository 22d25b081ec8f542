from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wherewatt.errors import SideFileError
from wherewatt.ingest.places import TaggedLine, read_places

SURFACES = ("asphalt", "gravel")
LINE = [[7.0, 46.0], [7.1, 46.1, 400.0], [7.2, 46.2]]


def feature(coordinates: Any, kind: str = "LineString", **properties: Any) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def collection(*features: Any) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features})


def read(tmp_path: Path, text: str) -> tuple[TaggedLine, ...]:
    path = tmp_path / "places.geojson"
    path.write_text(text)
    return read_places(path, SURFACES)


def lines_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(SideFileError) as caught:
        read(tmp_path, text)
    return [line.removeprefix("places.geojson: ") for line in str(caught.value).split("\n")]


def test_line_string(tmp_path: Path) -> None:
    (line,) = read(tmp_path, collection(feature(LINE, surface="Gravel", name="Mill Lane", x=1)))
    assert (line.name, line.surface, line.structure) == ("Mill Lane", "gravel", "")
    np.testing.assert_array_equal(line.longitude_deg, [7.0, 7.1, 7.2])
    np.testing.assert_array_equal(line.latitude_deg, [46.0, 46.1, 46.2])


def test_multi_line_string_gives_one_line_per_part(tmp_path: Path) -> None:
    text = collection(feature([LINE, LINE[:2]], "MultiLineString", structure="bridge"))
    lines = read(tmp_path, text)
    assert [len(line.longitude_deg) for line in lines] == [3, 2]
    assert [(line.surface, line.structure) for line in lines] == [("", "bridge")] * 2


def test_one_feature_without_collection(tmp_path: Path) -> None:
    assert len(read(tmp_path, json.dumps(feature(LINE, surface="asphalt", structure=None)))) == 1


def test_empty_collection(tmp_path: Path) -> None:
    assert read(tmp_path, collection()) == ()


def test_all_problems_at_once(tmp_path: Path) -> None:
    no_geometry = {"type": "Feature", "properties": {"surface": "gravel"}, "geometry": None}
    text = collection(
        feature(LINE, surface="gravle", structure="dam"),
        feature(LINE),
        {**feature(LINE), "properties": None},
        feature(LINE, surface=3),
        feature([7.0, 46.0], "Point", surface="gravel"),
        no_geometry,
        "gravel",
        feature([[7.0, 46.0]], surface="gravel"),
        feature([[7.0, 46.0], [7.0, 90.5]], surface="gravel"),
        feature([[[-180.5, 0.0], [0, 0]]], "MultiLineString", surface="gravel"),
        feature([[True, 46.0], [7.0, 46.0]], surface="gravel"),
        feature([[7.0], "x"], surface="gravel"),
        feature([], "MultiLineString", surface="gravel"),
        feature(None, "MultiLineString", surface="gravel"),
        feature([[10**400, 0], [0, 0]], surface="gravel"),
    )
    within = "expected [longitude, latitude] within ±180 and ±90 degrees"
    lines = lines_of(tmp_path, text)
    assert lines[:-1] == [
        "feature 1: found surface 'gravle', expected a known surface; did you mean 'gravel'?",
        "feature 1: found structure 'dam', expected a known structure; known: bridge, tunnel",
        "feature 2: found neither surface nor structure, expected at least one of them",
        "feature 3: found neither surface nor structure, expected at least one of them",
        "feature 4: found surface '3', expected text in quotes",
        "feature 5: found geometry 'Point', expected a LineString or a MultiLineString",
        "feature 6: found no geometry, expected a LineString or a MultiLineString",
        'feature 7: found something else, expected an object of type "Feature"',
        "feature 8: found a line of fewer than two positions, expected two or more",
        f"feature 9, position 2: found '[7.0, 90.5]', {within}",
        f"feature 10, position 1: found '[-180.5, 0.0]', {within}",
        f"feature 11, position 1: found '[true, 46.0]', {within}",
        f"feature 12, position 1: found '[7.0]', {within}",
        "feature 13: found no coordinates, expected positions [longitude, latitude]",
        "feature 14: found no coordinates, expected positions [longitude, latitude]",
    ]
    assert lines[-1].startswith("feature 15, position 1: found '[1000")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", "line 1: found Expecting value, expected GeoJSON"),
        ('{\n"type":\n}', "line 3: found Expecting value, expected GeoJSON"),
        ("[" * 100_000, "found maximum recursion depth exceeded"),
        ('{"type": "Feature", "x": NaN}', "found the number NaN, expected GeoJSON"),
        ("[]", "found JSON that is no GeoJSON, expected a FeatureCollection or a Feature"),
        ('{"type": "Point"}', "found type 'Point', expected a FeatureCollection or a Feature"),
        ('{"type": "FeatureCollection"}', "found type 'FeatureCollection', expected"),
    ],
)
def test_what_is_no_geojson(tmp_path: Path, text: str, line: str) -> None:
    (only,) = lines_of(tmp_path, text)
    assert only.startswith(line)
