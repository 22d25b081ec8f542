"""Courses from files and from recorded rides."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.outlook.builders import CONFIG
from tests.support.simulator import simulate, terrain_m, to_plane
from wherewatt.errors import InputError
from wherewatt.outlook.plans import planned_course, recorded_course
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

HEAD = '<?xml version="1.0"?><gpx version="1.1" creator="me" xmlns="http://www.topografix.com/GPX/1/1">'


def write_route(path: Path, points: list[tuple[float, ...]], name: str = "Over the hill") -> Path:
    """A route of latitude, longitude and, where given, height."""
    rows = "".join(
        f'<rtept lat="{lat}" lon="{lon}">'
        + "".join(f"<ele>{height}</ele>" for height in rest)
        + "</rtept>"
        for lat, lon, *rest in points
    )
    path.write_text(f"{HEAD}<rte><name>{name}</name>{rows}</rte></gpx>", encoding="utf-8")
    return path


def test_route_with_its_own_heights(tmp_path: Path) -> None:
    """45° N, 7° E to 45.02° N: 2222.64 m on WGS 84 (twice 1111.318 m: geographiclib)."""
    points = [(45.0 + 0.0002 * step, 7.0, 100.0 + step) for step in range(101)]
    course = planned_course(write_route(tmp_path / "r.gpx", points), TileFolder(()), CONFIG)
    assert course.name == "Over the hill"
    assert course.length_m == pytest.approx(2222.64, abs=0.1)
    assert np.max(np.abs(np.diff(course.edge_m) - course.edge_m[1])) < 1e-6
    assert course.edge_m[1] == pytest.approx(20.0, rel=0.05)
    assert np.cos(course.heading_rad) == pytest.approx(1.0)
    assert course.height_m[-1] - course.height_m[0] == pytest.approx(100.0, abs=2.0)
    assert not course.loop
    assert "heights-of-the-file" in {note.code for note in course.notes}


def test_route_without_any_height_is_level(tmp_path: Path) -> None:
    path = write_route(tmp_path / "r.gpx", [(45.0, 7.0), (45.02, 7.0)])
    course = planned_course(path, TileFolder(()), CONFIG)
    assert np.ptp(course.height_m) < 0.01
    assert "no-heights" in {note.code for note in course.notes}
    assert course.surfaces == ("untagged",)


def test_route_over_a_tile(tmp_path: Path) -> None:
    """Heights of the invented island, which the tile knows in whole metres every 90 m."""
    simulated = simulate("hilly", 3)
    simulated.write_tile(tmp_path)
    truth = simulated.truth
    some = slice(0, len(truth.lat_deg) // 2, 40)
    points = list(zip(truth.lat_deg[some], truth.lon_deg[some], strict=True))
    course = planned_course(
        write_route(tmp_path / "r.gpx", points), TileFolder((tmp_path,)), CONFIG
    )
    ground = terrain_m(*to_plane(truth.lat_deg[some], truth.lon_deg[some]))
    _, first = np.unique(truth.course_m[some], return_index=True)
    at = truth.course_m[some][first] * course.length_m / truth.course_m[some][-1]
    off = course.height_at(at) - ground[first]
    assert np.sqrt(np.mean(np.square(off))) < 4.0
    rough = np.abs(np.diff(ground)).sum()
    up_and_down = np.abs(np.diff(course.height_m)).sum()
    assert 0.6 * rough < up_and_down < 1.2 * rough


def test_surfaces_of_places_beside_the_route(tmp_path: Path) -> None:
    line = [[7.0, 45.005], [7.0, 45.015]]
    feature = {
        "type": "Feature",
        "properties": {"surface": "gravel"},
        "geometry": {"type": "LineString", "coordinates": line},
    }
    document = {"type": "FeatureCollection", "features": [feature]}
    (tmp_path / "places.geojson").write_text(json.dumps(document), encoding="utf-8")
    path = write_route(tmp_path / "r.gpx", [(45.0, 7.0), (45.02, 7.0)])
    course = planned_course(path, TileFolder(()), CONFIG)
    gravel = course.surface == course.surfaces.index("gravel")
    assert course.cell_m[gravel].sum() == pytest.approx(1111.3, abs=45.0)


def test_two_points_at_one_place_are_no_course(tmp_path: Path) -> None:
    path = write_route(tmp_path / "r.gpx", [(45.0, 7.0), (45.0, 7.0)])
    with pytest.raises(InputError, match="way") as caught:
        planned_course(path, TileFolder(()), CONFIG)
    assert "\n" not in str(caught.value)


def test_recorded_ride_is_a_course(simulated_result: RideResult) -> None:
    course = recorded_course(simulated_result, CONFIG.outlook)
    ride = simulated_result.ride
    assert course.length_m == pytest.approx(float(ride.distance_m[-1]))
    assert set(course.surfaces) == set(simulated_result.sections.surface)
    ascent = simulated_result.ascent_and_descent_m[0].sum()
    assert course.ascent_m == pytest.approx(ascent, rel=0.3)
    inner = [stop for stop in ride.stops if 1.0 < stop.distance_m < course.length_m - 1.0]
    assert len(course.stops_m) <= len(inner)
    metres = {
        name: float(course.cell_m[course.surface == number].sum())
        for number, name in enumerate(course.surfaces)
    }
    sections = simulated_result.sections
    by_section = sections.total(ride.leg_distance_m)
    for name, length in metres.items():
        wanted = by_section[[surface == name for surface in sections.surface]].sum()
        assert length == pytest.approx(wanted, abs=60.0)
