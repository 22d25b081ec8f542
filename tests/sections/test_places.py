"""Lines tagged once, for every ride that passes along them."""

from __future__ import annotations

import numpy as np
import pytest

from tests.motion.builders import wander
from tests.sections.builders import CONFIG, cut, line, metres_of, ride_along
from wherewatt.motion.ride import Ride
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
