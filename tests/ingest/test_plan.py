"""Planned routes and waypoints."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wherewatt.errors import TrackError
from wherewatt.ingest.plan import read_plan

PLAN = """<?xml version="1.0"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="44.5" lon="-29.5"><ele>12</ele><name>harbour</name></wpt>
<rte><name>out</name>
<rtept lat="44.50" lon="-29.50"><ele>0.0</ele></rtept>
<rtept lat="44.51" lon="-29.52"/>
<rtept lat="44.52" lon="-29.53"><ele>7.5</ele></rtept></rte>
<trk><name>home</name><trkseg><trkpt lat="44.52" lon="-29.53"/></trkseg>
<trkseg><trkpt lat="44.5" lon="-29.5"/></trkseg></trk>
</gpx>"""


def write(folder: Path, text: str) -> Path:
    path = folder / "plan.gpx"
    path.write_text(text, encoding="utf-8")
    return path


def test_routes_tracks_and_waypoints(tmp_path: Path) -> None:
    plan = read_plan(write(tmp_path, PLAN))
    assert [route.name for route in plan.routes] == ["out", "home"]
    np.testing.assert_array_equal(plan.routes[0].latitude_deg, [44.50, 44.51, 44.52])
    np.testing.assert_array_equal(plan.routes[0].elevation_m, [0.0, np.nan, 7.5])
    assert len(plan.routes[1]) == 2
    (place,) = plan.waypoints
    assert (place.name, place.elevation_m) == ("harbour", 12.0)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        (PLAN[:-80], "broken"),
        ("<kml/>", "<kml>"),
        ("no xml", "text that begins"),
        ('<!DOCTYPE a [<!ENTITY x "y">]><gpx/>', "entities"),
        ("<gpx>" + 200 * "<a>" + 200 * "</a>" + "</gpx>", "max_xml_depth"),
        ('<gpx version="1.1"><rte><rtept lat="1" lon="2"/></rte></gpx>', "no way"),
    ],
)
def test_what_is_no_plan(text: str, part: str, tmp_path: Path) -> None:
    with pytest.raises(TrackError, match=part):
        read_plan(write(tmp_path, text))


def test_file_of_others(shared_data: Path) -> None:
    """A route of 55 points (test file of gpxpy, Apache-2.0)."""
    (route,) = read_plan(shared_data / "gpx/gpxpy_Apache-2.0/route.gpx").routes
    assert len(route) == 55
