"""Lines tagged once, for every ride that passes along them."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from tests.motion.builders import MOTION, make_track, on_the_ground, wander
from tests.sections.builders import CONFIG, cut, line, metres_of, ride_along
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride
from wherewatt.sections.places import match_places

# A ride is taken to be on a line from a reach before its end to a reach after it.
END_M = 2.0 * CONFIG.places.reach_m + 12.0
EAST = 6.0 * np.arange(601.0)  # 3.6 km to the east at 1 Hz


def matched_m(ride: Ride, *lines: object) -> list[float]:
    """Metres that each line was ridden."""
    matched = match_places(ride, lines, CONFIG.places)  # type: ignore[arg-type]
    return [float(np.sum(ride.leg_distance_m[matched == number])) for number in range(len(lines))]


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("way", [EAST, EAST[::-1]], ids=["east", "west"])
def test_both_directions(backwards: bool, way: np.ndarray) -> None:
    """The line's own direction does not matter, nor the ride's."""
    ends = [2000.0, 1000.0] if backwards else [1000.0, 2000.0]
    assert matched_m(ride_along(way), line(ends, [0.0, 0.0])) == pytest.approx([1000.0], abs=END_M)


@pytest.mark.parametrize("off_m", [-40.0, 40.0])
def test_parallel_road_is_another_road(off_m: float) -> None:
    assert matched_m(ride_along(EAST), line([1000.0, 2000.0], [off_m, off_m])) == [0.0]


def test_nearer_of_two_parallel_lines() -> None:
    near, far = line([1000.0, 2000.0], [2.0, 2.0]), line([1000.0, 2000.0], [12.0, 12.0], "dirt")
    for lines, expected in (((near, far), [1000.0, 0.0]), ((far, near), [0.0, 1000.0])):
        assert matched_m(ride_along(EAST), *lines) == pytest.approx(expected, abs=END_M)


@pytest.mark.parametrize("degrees", [25.0, 45.0, 90.0])
def test_crossing_is_not_ridden(degrees: float) -> None:
    angle = np.radians(degrees)
    reach = 400.0
    crossing = line(
        [1500.0 - reach * np.cos(angle), 1500.0 + reach * np.cos(angle)],
        [-reach * np.sin(angle), reach * np.sin(angle)],
    )
    assert matched_m(ride_along(EAST), crossing)[0] < 80.0


def test_right_angle_crossing_is_not_ridden_at_all() -> None:
    assert matched_m(ride_along(EAST), line([1500.0, 1500.0], [-400.0, 400.0])) == [0.0]


def test_side_street_does_not_bleed_into_the_main_road() -> None:
    """The ride goes straight on where the tagged street turns off."""
    street = line([1000.0, 1500.0, 1500.0], [0.0, 0.0, 500.0])
    assert matched_m(ride_along(EAST), street) == pytest.approx([500.0], abs=40.0)


def test_position_error_does_not_break_a_match() -> None:
    rng = np.random.default_rng(6)
    error = wander(np.arange(601.0), rng, sd_m=3.0)
    ride = ride_along(EAST + error[0], error[1])
    assert matched_m(ride, line([1000.0, 2000.0], [0.0, 0.0])) == pytest.approx([1000.0], abs=60.0)


def test_bent_line() -> None:
    """A path that winds, as a line of short pieces."""
    way = 6.0 * np.arange(401.0)
    north = 30.0 * np.sin(way / 80.0)
    bent = line(list(way[50:300:4]), list(north[50:300:4]))
    assert matched_m(ride_along(way, north), bent)[0] == pytest.approx(
        float(np.sum(np.hypot(np.diff(way[50:300]), np.diff(north[50:300])))), rel=0.05
    )


def test_places_are_sections() -> None:
    """Surface and structure of a line, each where nothing else is known."""
    gravel = line([1000.0, 2000.0], [0.0, 0.0])
    deck = line([1400.0, 1700.0], [0.0, 0.0], "", "bridge")
    sections = cut(ride_along(EAST), places=[gravel])
    assert metres_of(sections, sections.surface)["gravel"] == pytest.approx(1000.0, abs=END_M)
    with_deck = cut(ride_along(EAST), places=[deck])
    assert metres_of(with_deck, with_deck.structure)["bridge"] == pytest.approx(300.0, abs=END_M)


def test_a_bridge_within_a_tagged_street() -> None:
    """A line for the street's surface and a line for its bridge: both hold on the bridge."""
    street = line([1000.0, 2000.0], [0.0, 0.0])
    deck = line([1400.0, 1700.0], [0.0, 0.0], "", "bridge")
    for places in ([street, deck], [deck, street]):
        sections = cut(ride_along(EAST), places=places)
        gravel = metres_of(sections, sections.surface)["gravel"]
        assert gravel == pytest.approx(1000.0, abs=END_M)
        bridge = metres_of(sections, sections.structure).get("bridge", 0.0)
        assert bridge == pytest.approx(300.0, abs=END_M)


@pytest.mark.parametrize("degrees", [30.0, 90.0])
def test_a_tagged_side_road_does_not_bleed(degrees: float) -> None:
    """It leaves the ridden road, which is tagged too, at a junction."""
    angle = np.radians(degrees)
    road = line([1000.0, 2000.0], [0.0, 0.0])
    side = line([1500.0, 1500.0 + 500.0 * np.cos(angle)], [0.0, 500.0 * np.sin(angle)], "dirt")
    for lines, ridden in (((road, side), 0), ((side, road), 1)):
        metres = matched_m(ride_along(EAST), *lines)
        assert metres[ridden] == pytest.approx(1000.0, abs=12.0)
        assert metres[1 - ridden] == 0.0


def test_an_untagged_road_past_a_tagged_side_road_stays_untagged() -> None:
    """At 30° the side road is within reach for 30 m."""
    side = line([1500.0, 1900.0], [0.0, 400.0 * np.tan(np.radians(30.0))])
    assert matched_m(ride_along(EAST), side) == [0.0]


def test_a_match_ends_where_the_line_ends() -> None:
    street = line([1000.0, 1500.0], [0.0, 0.0])
    assert matched_m(ride_along(EAST), street) == pytest.approx([500.0], abs=10.0)


@pytest.mark.parametrize("seed", range(8))
def test_a_path_beside_the_road_is_told_from_it(seed: int) -> None:
    """15 m apart, with another surface; the position errs by 3 m, alike for a minute."""
    rng = np.random.default_rng(seed)
    error = wander(np.arange(601.0), rng, sd_m=3.0)
    ride = ride_along(EAST + error[0], error[1])
    road, path = line([500.0, 3000.0], [0.0, 0.0]), line([500.0, 3000.0], [15.0, 15.0], "dirt")
    on_road, on_path = matched_m(ride, road, path)
    assert on_road == pytest.approx(2500.0, abs=60.0)
    assert on_path == 0.0


@pytest.mark.parametrize(("length_m", "on_path_m"), [(90.0, 0.0), (400.0, 400.0)])
def test_a_short_error_towards_the_path_is_no_change(length_m: float, on_path_m: float) -> None:
    """Nearer to the path for 90 m by 3 m stays on the road; being on it for 400 m does not."""
    aside = 9.0 if length_m < 100.0 else 15.0
    ramp = np.clip((length_m / 2.0 + 30.0 - np.abs(EAST - 1800.0)) / 30.0, 0.0, 1.0)
    road, path = line([500.0, 3000.0], [0.0, 0.0]), line([500.0, 3000.0], [15.0, 15.0], "dirt")
    metres = matched_m(ride_along(EAST, aside * ramp), road, path)
    assert metres == pytest.approx([2500.0 - on_path_m, on_path_m], abs=50.0)
    assert (metres[1] == 0.0) == (on_path_m == 0.0)


def test_a_roundabout() -> None:
    """In by the west arm, out by the east one; the ring is 16 m in radius."""
    half = np.linspace(np.pi, 2.0 * np.pi, 13)
    way_in, way_out = np.arange(-600.0, -17.0, 4.0), np.arange(20.0, 604.0, 4.0)
    east = np.concatenate([way_in, 16.0 * np.cos(half), way_out])
    north = np.concatenate([0.0 * way_in, 16.0 * np.sin(half), 0.0 * way_out])
    turn = np.linspace(0.0, 2.0 * np.pi, 33)
    ring = line(list(16.0 * np.cos(turn)), list(16.0 * np.sin(turn)), "cobbles")
    west, west_out = [-600.0, -16.0], [16.0, 600.0]
    arms = [
        line(west, [0.0, 0.0]),
        line(west_out, [0.0, 0.0]),
        line([0.0, 0.0], [16.0, 600.0], "dirt"),
        line([0.0, 0.0], [-600.0, -16.0], "dirt"),
    ]
    metres = matched_m(ride_along(east, north), *arms, ring)
    assert metres[:2] == pytest.approx([584.0, 584.0], abs=20.0)
    assert metres[2:4] == [0.0, 0.0]
    assert metres[4] == pytest.approx(16.0 * np.pi, abs=20.0)


def ride_north_from(latitude: float, longitude: float) -> Ride:
    """50 km to the north at 25 m/s."""
    way = 25.0 * np.arange(2001.0)
    return trace_ride(
        make_track(np.arange(2001.0), 0.0 * way, way, origin=(latitude, longitude)), MOTION
    )


def beside(ride: Ride, from_m: float, to_m: float, aside_m: float) -> TaggedLine:
    """A line beside the ride, measured on the ellipsoid by PROJ's geodesics."""
    at = np.searchsorted(ride.distance_m, [from_m, to_m])
    where = ride.longitude_deg[at], ride.latitude_deg[at]
    longitude, latitude, _ = Geod(ellps="WGS84").fwd(
        *where, np.degrees(ride.heading_rad[at]) + 90.0, np.full(2, aside_m)
    )
    return TaggedLine("", "gravel", "", np.asarray(longitude), np.asarray(latitude))


@pytest.mark.parametrize("origin", [(0.0, 7.0), (69.0, 25.0), (-80.0, 7.0), (60.0, 180.0)])
def test_metres_hold_at_any_latitude(origin: tuple[float, float]) -> None:
    """Far from where the ride began, just within and just out of reach, on either side."""
    ride = ride_north_from(*origin)
    reach = CONFIG.places.reach_m
    for side in (-1.0, 1.0):
        near = beside(ride, 46_000.0, 48_000.0, side * (reach - 2.0))
        far = beside(ride, 46_000.0, 48_000.0, side * (reach + 0.5))
        assert matched_m(ride, near) == pytest.approx([2000.0], abs=60.0)
        assert matched_m(ride, far) == [0.0]


@pytest.mark.parametrize("heading", [1.0, -1.0], ids=["east", "west"])
def test_across_the_date_line(heading: float) -> None:
    """Whether the line is cut there or not, and where the ride began."""
    way = heading * (EAST - 1800.0)
    ride = trace_ride(make_track(np.arange(601.0), way, origin=(-17.0, 180.0)), MOTION)
    assert ride.longitude_deg.min() < -179.9
    assert ride.longitude_deg.max() > 179.9
    ends = np.array([-1000.0, 1000.0])
    latitude, longitude = on_the_ground(ends, 0.0 * ends, (-17.0, 180.0))
    whole = TaggedLine("", "gravel", "", longitude, latitude)
    assert matched_m(ride, whole) == pytest.approx([2000.0], abs=12.0)
    west, east = np.array([longitude[0], 180.0]), np.array([-180.0, longitude[1]])
    cut_there = [TaggedLine("", "gravel", "", part, latitude) for part in (west, east)]
    assert matched_m(ride, *cut_there) == pytest.approx([1000.0, 1000.0], abs=12.0)


def test_sparse_points_still_find_a_short_line() -> None:
    """A bridge of 40 m between points 60 m apart is on the leg that holds its middle."""
    time = 10.0 * np.arange(61.0)
    ride = trace_ride(make_track(time, 6.0 * time), MOTION)
    (metres,) = matched_m(ride, line([1810.0, 1850.0], [0.0, 0.0], "", "bridge"))
    assert metres == pytest.approx(60.0, abs=1.0)


def test_a_library_of_the_whole_earth() -> None:
    """Lines elsewhere, at the far side of the globe and across the date line change nothing."""
    road = line([1000.0, 2000.0], [0.0, 0.0])
    elsewhere = [
        TaggedLine("", "dirt", "", np.array(longitude), np.array(latitude))
        for longitude, latitude in (
            ([-173.1, -172.9], [46.0, 46.0]),
            ([179.9, -179.9], [46.0, 46.0]),
            ([7.0, 7.0], [89.0, 90.0]),
            ([7.0, 7.2], [46.1, 46.1]),
        )
    ]
    alone = match_places(ride_along(EAST), [road], CONFIG.places)
    assert np.array_equal(match_places(ride_along(EAST), [road, *elsewhere], CONFIG.places), alone)
    assert matched_m(ride_along(EAST), *elsewhere) == [0.0] * 4
