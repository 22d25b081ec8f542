"""Stretches as lines on the ground, against pyproj, shapely and RFC 7946."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod
from shapely.geometry import shape

from tests.motion.builders import on_the_ground, plain_ride
from tests.tagging.builders import place_file
from wherewatt.config import load_config
from wherewatt.motion.ride import Ride
from wherewatt.sections.places import match_places
from wherewatt.tagging.lines import place_feature, with_feature

WGS84 = Geod(ellps="WGS84")
SAND = {"name": "", "surface": "sand", "structure": ""}


def bending_ride() -> Ride:
    """A ride on a circle of 1 km radius."""
    ride = plain_ride()
    turn = ride.distance_m / 1000.0
    latitude, longitude = on_the_ground(1000.0 * np.sin(turn), 1000.0 * (1.0 - np.cos(turn)))
    turned = (np.pi / 2.0 - turn)[:-1]
    return replace(ride, latitude_deg=latitude, longitude_deg=longitude, heading_rad=turned)


def test_line_is_as_long_as_the_stretch_and_lies_on_the_ride() -> None:
    feature = place_feature(bending_ride(), 1000.0, 2500.0, SAND)
    positions = np.array(feature["geometry"]["coordinates"])
    # Length by Karney's geodesics (pyproj). A chord that leaves an arc of radius 1 km by 1 m is
    # shorter than it by 0.07 %: sagitta s = c²/8r, arc − chord = c³/24r².
    assert WGS84.line_length(*positions.T) == pytest.approx(1500.0, rel=2e-3)
    centre = on_the_ground(np.array([0.0]), np.array([1000.0]))
    _, _, radius = WGS84.inv(
        *positions.T, np.full(len(positions), centre[1]), np.full(len(positions), centre[0])
    )
    assert np.max(np.abs(radius - 1000.0)) < 0.5
    assert len(positions) < 40
    assert feature["properties"] == {"surface": "sand"}


def test_a_ride_is_found_on_its_own_line(tmp_path: Path) -> None:
    ride = bending_ride()
    file = place_file(tmp_path)
    file.add(place_feature(ride, 1000.0, 2500.0, SAND), file.version())
    along = match_places(ride, file.load().lines, load_config().places) >= 0
    middle = (ride.distance_m[1:] + ride.distance_m[:-1]) / 2.0
    assert np.mean(along == ((middle > 1000.0) & (middle < 2500.0))) > 0.99


def test_positions_have_six_decimals() -> None:
    """RFC 7946, section 11.2."""
    text = json.dumps(place_feature(bending_ride(), 0.0, 500.0, SAND)["geometry"]["coordinates"])
    digits = [
        len(number.partition(".")[2])
        for number in text.strip("[]").replace("], [", ", ").split(", ")
    ]
    assert max(digits) <= 6


def test_date_line_cuts() -> None:
    """RFC 7946, section 3.1.9: in parts, so that none crosses the date line."""
    ride = plain_ride()
    longitude = 179.99 + np.degrees(ride.distance_m / 6_378_137.0)
    wrapped = replace(ride, longitude_deg=(longitude + 180.0) % 360.0 - 180.0)
    geometry = place_feature(wrapped, 500.0, 2500.0, SAND)["geometry"]
    assert geometry["type"] == "MultiLineString"
    first, second = geometry["coordinates"]
    assert first[-1] == [180.0, 0.0]
    assert second[0] == [-180.0, 0.0]
    assert second[-1][0] < -179.9
    parts = shape(geometry)
    whole = np.degrees(2000.0 / 6_378_137.0)
    assert parts.length == pytest.approx(whole, abs=2e-6)


OLD = """{
 "type": "FeatureCollection",
 "name": "mine, with [brackets] and \\"quotes\\"",
 "features": [
  {"type": "Feature", "id": 7, "properties": {"surface": "asphalt", "features": [1.50]},
   "geometry": {"type": "LineString", "coordinates": [[7.10, 46.0], [7.2, 46.0]]}}
 ],
 "more": {"features": [1]}
}
"""
NEW = {"type": "Feature", "properties": {"name": 'Ängstliche "Gasse" ]}'}, "geometry": None}


def test_what_stood_there_stays_to_the_letter() -> None:
    text = with_feature(OLD, NEW)
    before, after = OLD.index("}}\n ],") + 2, OLD.index("\n ],")
    assert text.startswith(OLD[:before])
    assert text.endswith(OLD[after:])
    old, new = json.loads(OLD), json.loads(text)
    assert new == {**old, "features": [*old["features"], NEW]}
    assert list(new) == list(old)


@pytest.mark.parametrize("features", ["[]", "[\n]", "[ ]"])
def test_empty_collection(features: str) -> None:
    text = with_feature(f'{{"features": {features}, "type": "FeatureCollection"}}', NEW)
    assert json.loads(text)["features"] == [NEW]


def test_single_feature_becomes_the_first_of_a_collection() -> None:
    one = '{"type": "Feature", "properties": {"a": 1.50}, "geometry": null}'
    text = with_feature(one + "\n", NEW)
    assert one in text
    assert json.loads(text)["features"] == [json.loads(one), NEW]


def test_key_named_twice_is_written_anew() -> None:
    text = '{"type": "FeatureCollection", "features": [], "features": [{"type": "Feature"}]}'
    assert json.loads(with_feature(text, NEW))["features"] == [{"type": "Feature"}, NEW]
