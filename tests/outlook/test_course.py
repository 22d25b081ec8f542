"""Ways to go: parts, the way home, laps, surfaces and stops."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.outlook.builders import CONFIG, straight
from wherewatt.outlook.plans import reference_course


def test_parts_touch_and_make_up_the_whole() -> None:
    course = replace(straight(1000.0, stops_m=(400.0,)), height_m=np.linspace(0.0, 1.0, 51) ** 2)
    first, second = course.between(0.0, 333.0), course.between(333.0, 1000.0)
    assert first.length_m + second.length_m == pytest.approx(course.length_m)
    assert first.height_m[-1] == second.height_m[0] == pytest.approx(course.height_at(333.0))
    assert len(first.stops_m) == 0
    assert second.stops_m == pytest.approx([67.0])


def test_the_way_home_climbs_what_the_way_out_falls() -> None:
    course = replace(straight(1000.0, grade=0.05, stops_m=(400.0,)), surfaces=("asphalt",))
    home = course.reversed()
    assert home.height_m[0] == course.height_m[-1]
    assert np.diff(home.height_m).sum() == pytest.approx(-np.diff(course.height_m).sum())
    assert home.stops_m == pytest.approx([600.0])
    assert np.cos(home.heading_rad - course.heading_rad) == pytest.approx(-1.0)
    again = home.reversed()
    assert again.edge_m == pytest.approx(course.edge_m)
    assert again.height_m == pytest.approx(course.height_m)


def test_a_lap_of_a_one_way_course_is_there_and_back() -> None:
    course = straight(1000.0, grade=0.05)
    lap = course.lap()
    assert lap.length_m == pytest.approx(2000.0)
    assert lap.height_m[-1] == pytest.approx(lap.height_m[0])
    assert lap.stops_m == pytest.approx([1000.0])  # who turns round stands still
    assert lap.loop
    assert lap.lap() is lap


def test_surfaces_are_joined_by_name() -> None:
    both = straight(100.0, surface="gravel").followed_by(straight(100.0, surface="asphalt"))
    names = [both.surfaces[number] for number in both.surface]
    assert names == ["gravel"] * 5 + ["asphalt"] * 5
    assert both.on("dirt").surfaces == ("dirt",)


@pytest.mark.parametrize(("rate", "stops"), [(0.0, 0), (0.5, 5), (2.0, 20), (0.04, 0)])
def test_stops_are_spread_evenly(rate: float, stops: int) -> None:
    course = straight(10_000.0).with_stops(rate)
    assert len(course.stops_m) == stops
    if stops:
        apart = np.diff(np.concatenate([[0.0], course.stops_m, [course.length_m]]))
        assert apart[1:-1] == pytest.approx(10_000.0 / stops)
        assert apart[0] == pytest.approx(apart[-1])


def test_cells_end_where_they_are_cut() -> None:
    course = straight(1000.0, grade=0.03)
    cut = course.cut_at(np.array([33.0, 33.0, 500.0, 2000.0]))
    assert 33.0 in cut.edge_m
    assert len(cut.edge_m) == len(course.edge_m) + 1
    assert cut.height_m == pytest.approx(0.03 * cut.edge_m)


def test_reference_ride_has_the_ascent_that_the_file_says() -> None:
    ride = CONFIG.reference
    course = reference_course(ride, CONFIG.outlook)
    assert course.length_m == pytest.approx(ride.distance_m)
    wanted = ride.ascent_m_per_km * ride.distance_m / 1000.0
    assert course.ascent_m == pytest.approx(wanted, rel=0.01)
    assert course.height_m[0] == pytest.approx(course.height_m[-1])
    turned = np.exp(1j * course.heading_rad).mean()
    assert abs(turned) < 1e-9  # the wind comes from all sides alike
    steepest = float(np.max(np.abs(np.diff(course.height_m) / course.cell_m)))
    assert steepest == pytest.approx(np.pi * 10.0 / 1000.0, rel=0.01)  # sine: π·ascent/hill
