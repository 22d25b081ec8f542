"""One cut from three labels; edges of hand tags are exactly the user's."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from tests.motion.builders import plain_ride
from tests.sections.builders import CONFIG, cut, line, metres_of, ramp, ride_along
from wherewatt.errors import SideFileError
from wherewatt.ingest.place import parse_place
from wherewatt.ingest.tags import SurfaceTag
from wherewatt.motion.locate import Locator
from wherewatt.sections.cutting import Sections
from wherewatt.sections.surface import UNTAGGED, TimedTag, timed_tags


def start_times(sections: Sections) -> list[float]:
    return sections.ride.time_s[sections.first_leg].tolist()


def assert_partition(sections: Sections) -> None:
    """Labels rise by one at most, and every leg has one."""
    assert len(sections.leg_section) == len(sections.ride.standing)
    assert sections.leg_section[0] == 0
    assert set(np.diff(sections.leg_section).tolist()) <= {0, 1}
    assert sections.leg_section[-1] == len(sections) - 1
    columns = sections.terrain, sections.flow, sections.surface, sections.structure
    labels = zip(*columns, strict=True)
    assert all(before != after for before, after in pairwise(labels))


def test_plain_ride_is_one_section() -> None:
    sections = cut()
    assert len(sections) == 1
    assert (sections.terrain, sections.flow) == (("flat",), ("steady",))
    assert (sections.surface, sections.structure) == ((UNTAGGED,), ("",))


def test_tag_edges_are_exact_in_time() -> None:
    tags = [TimedTag(200.25, 400.5, "gravel", ""), TimedTag(400.5, 611.125, "dirt", "")]
    sections = cut(tags=tags)
    assert start_times(sections) == [0.0, 200.25, 400.5, 611.125]
    assert sections.surface == (UNTAGGED, "gravel", "dirt", UNTAGGED)
    assert_partition(sections)


def test_tag_edges_are_exact_beside_a_climb() -> None:
    """An edge of terrain close to a tag's moves to the tag's, not the other way round."""
    ride = plain_ride(stops=())
    height = ramp(ride.distance_m, 3000.0, 1000.0, 0.05)
    edge = float(np.interp(3025.0, ride.distance_m, ride.time_s)) + 0.37
    sections = cut(ride, height_m=height, tags=[TimedTag(edge, 900.0, "gravel", "")])
    assert edge in start_times(sections)
    assert 900.0 in start_times(sections)
    near = [time for time in start_times(sections) if abs(time - edge) < 8.0]
    assert near == [edge]
    assert_partition(sections)


def test_tags_while_standing() -> None:
    """A tag may begin and end within one stop."""
    ride = plain_ride()
    sections = cut(ride, tags=[TimedTag(305.5, 312.25, "gravel", "")])
    assert {305.5, 312.25} <= set(start_times(sections))
    assert metres_of(sections, sections.surface)["gravel"] == 0.0
    assert_partition(sections)


def test_surface_and_structure_tags_may_overlap() -> None:
    tags = [TimedTag(200.0, 600.0, "asphalt", ""), TimedTag(300.0, 350.0, "", "bridge")]
    sections = cut(tags=tags)
    assert sections.surface == (UNTAGGED, "asphalt", "asphalt", "asphalt", UNTAGGED)
    assert sections.structure == ("", "", "bridge", "", "")


def test_tags_win_over_places() -> None:
    ride = ride_along(6.0 * np.arange(601.0))
    places = [line([600.0, 3000.0], [0.0, 0.0], "gravel")]
    sections = cut(ride, places=places, tags=[TimedTag(200.0, 300.0, "paving", "")])
    assert sections.surface == (UNTAGGED, "gravel", "paving", "gravel", UNTAGGED)
    assert {200.0, 300.0} <= set(start_times(sections))


def test_climb_and_descent() -> None:
    ride = plain_ride(stops=())
    height = ramp(ride.distance_m, 2000.0, 1000.0, 0.05) - ramp(
        ride.distance_m, 4000.0, 1000.0, 0.04
    )
    sections = cut(ride, height_m=height)
    assert sections.terrain == ("flat", "climb", "flat", "descent", "flat")
    assert sections.edge_m[1:-1] == pytest.approx([2000.0, 3000.0, 4000.0, 5000.0], abs=60.0)
    assert_partition(sections)


def test_edges_that_nearly_fall_together_become_one() -> None:
    ride = plain_ride(stops=())
    height = ramp(ride.distance_m, 2000.0, 1000.0, 0.05)
    edge = float(np.interp(2010.0, ride.distance_m, ride.time_s))
    sections = cut(ride, height_m=height, tags=[TimedTag(edge, 1000.0, "gravel", "")])
    lengths = np.diff(sections.edge_m)
    assert lengths.min() > 0.5 * CONFIG.sections.snap_m


def test_sums_over_sections_are_sums_over_the_ride() -> None:
    ride = plain_ride()
    height = ramp(ride.distance_m, 2000.0, 1000.0, 0.05)
    sections = cut(ride, height_m=height, tags=[TimedTag(210.5, 333.3, "gravel", "bridge")])
    time = np.bincount(sections.leg_section, weights=sections.ride.leg_time_s)
    way = np.bincount(sections.leg_section, weights=sections.ride.leg_distance_m)
    assert time.sum() == pytest.approx(ride.time_s[-1], rel=1e-12)
    assert way.sum() == pytest.approx(ride.distance_m[-1], rel=1e-12)
    assert way == pytest.approx(np.diff(sections.edge_m), abs=1e-9)


def hand_tag(start: str, end: str, line_number: int, surface: str = "gravel") -> SurfaceTag:
    return SurfaceTag(parse_place(start), parse_place(end), surface, "", line_number)


def test_hand_tags_in_time() -> None:
    ride = plain_ride(stops=())
    placed = timed_tags(
        [hand_tag("1 km", "0:10:00", 2), hand_tag("0:10:00", "5 km", 3, "dirt")],
        Locator(ride),
        "ride.surface.csv",
    )
    assert placed[0].end_s == placed[1].start_s == 600.0
    assert np.interp(placed[0].start_s, ride.time_s, ride.distance_m) == pytest.approx(1000.0)


def test_all_wrong_tags_at_once() -> None:
    """Outside the ride, backwards in time, overlapping once placed: one line each."""
    tags = [
        hand_tag("1 km", "40 km", 2),
        hand_tag("0:15:00", "2 km", 3),
        hand_tag("3 km", "4 km", 4),
        hand_tag("0:09:00", "0:10:00", 5, "dirt"),
    ]
    with pytest.raises(SideFileError) as caught:
        timed_tags(tags, Locator(plain_ride(stops=())), "ride.surface.csv")
    assert [problem.place for problem in caught.value.problems] == ["line 2", "line 3", "line 5"]
