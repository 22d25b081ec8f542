"""Every stretch has one short name, unique within its ride."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from tests.motion.builders import plain_ride
from tests.sections.builders import cut, ramp
from wherewatt.sections.cutting import Sections
from wherewatt.sections.names import FeatureKind, find_features, section_names
from wherewatt.sections.surface import TimedTag


def made_of(
    starts_m: Sequence[float],
    terrain: Sequence[str],
    *,
    flow: Sequence[str] | None = None,
    structure: Sequence[str] | None = None,
) -> Sections:
    """Sections that begin at the given distances of a ride of 7.2 km, 6 m a leg."""
    ride = plain_ride(duration_s=1230.0, stops=())
    starts = np.array(starts_m)
    leg_section = np.searchsorted(starts, ride.distance_m[:-1] + 3.0, side="right") - 1
    many = len(starts)
    return Sections(
        ride,
        leg_section,
        tuple(terrain),
        tuple(flow or ["steady"] * many),
        tuple(f"surface {number}" for number in range(many)),
        tuple(structure or [""] * many),
    )


def names_of(sections: Sections) -> tuple[str, ...]:
    return section_names(sections, find_features(sections))


def test_a_name_says_what_it_is_and_where_it_begins() -> None:
    sections = made_of([0.0, 1002.0, 2802.0], ["flat", "climb", "descent"])
    assert names_of(sections) == ("flat at 0.0 km", "climb at 1.0 km", "descent at 2.8 km")


def test_a_climb_cut_by_surfaces_is_one_climb() -> None:
    sections = made_of([0.0, 1200.0, 1500.0, 1800.0], ["flat", "climb", "climb", "climb"])
    features = find_features(sections)
    assert [(one.name, one.first, one.end) for one in features] == [
        ("flat at 0.0 km", 0, 1),
        ("climb at 1.2 km", 1, 4),
    ]
    assert names_of(sections)[1:] == ("climb at 1.2 km",) * 3
    assert (features[1].start_m, features[1].end_m) == pytest.approx(
        (1200.0, sections.ride.distance_m[-1]), abs=6.0
    )


def test_the_most_telling_feature_names_a_section() -> None:
    """Structure before climb, climb before stop-and-go, stop-and-go before flat."""
    sections = made_of(
        [0.0, 600.0, 1200.0, 1800.0, 2400.0],
        ["flat", "flat", "climb", "climb", "climb"],
        flow=["steady", "stop-and-go", "stop-and-go", "steady", "steady"],
        structure=["", "", "", "bridge", ""],
    )
    assert names_of(sections) == (
        "flat at 0.0 km",
        "stop-and-go at 0.6 km",
        "climb at 1.2 km",
        "bridge at 1.8 km",
        "climb at 1.2 km",
    )
    spans = {one.kind: (one.first, one.end) for one in find_features(sections)}
    assert spans[FeatureKind.CLIMB] == (2, 5)
    assert spans[FeatureKind.STOP_AND_GO] == (1, 3)


def test_names_that_would_be_alike_are_finer() -> None:
    sections = made_of(
        [0.0, 3180.0, 3204.0, 3222.0, 5100.0], ["flat", "climb", "flat", "climb", "flat"]
    )
    assert names_of(sections) == (
        "flat at 0.0 km",
        "climb at 3.18 km",
        "flat at 3.2 km",
        "climb at 3.22 km",
        "flat at 5.1 km",
    )


def test_names_are_unique_even_where_nothing_is_ridden_between() -> None:
    """Tags within one stop give sections of no length."""
    ride = plain_ride()
    tags = [
        TimedTag(302.0, 306.0, "", "bridge"),
        TimedTag(310.0, 314.0, "", "bridge"),
        TimedTag(318.0, 322.0, "", "bridge"),
    ]
    features = find_features(cut(ride, tags=tags))
    names = [one.name for one in features]
    assert len(set(names)) == len(names)
    assert sum(one.kind is FeatureKind.BRIDGE for one in features) == 3
    assert all("at 1.7" in name for name in names if name.startswith("bridge"))


def test_every_section_of_a_cut_ride_has_a_name() -> None:
    ride = plain_ride(stops=())
    height = ramp(ride.distance_m, 2000.0, 1000.0, 0.05)
    sections = cut(ride, height_m=height, tags=[TimedTag(400.0, 450.0, "gravel", "")])
    assert [one.kind for one in find_features(sections)] == ["flat", "climb", "flat"]
    names = names_of(sections)
    assert names[0] == "flat at 0.0 km"
    assert names.count(names[1]) == 3
    assert names[1].startswith(("climb at 1.9 km", "climb at 2.0 km"))
