"""Two rides laid side by side: what they share, and which climb is which."""

from __future__ import annotations

import tempfile
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.motion.builders import MOTION, make_track, plain_ride, wander
from tests.sections.builders import CONFIG, cut, ramp, ride_along
from tests.support.simulator import SimulatedRide, simulate
from wherewatt.ingest import read_track
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride
from wherewatt.sections.matching import SharedStretch, match_rides, match_sections

STEP_M = 6.0


def shared(a: Ride, b: Ride) -> tuple[SharedStretch, ...]:
    return match_rides(a, b, CONFIG.places)


def spans(a: Ride, b: Ride) -> list[tuple[float, ...]]:
    """Ends of the shared stretches in both rides [m]."""
    return [(*stretch.ends_a_m, *stretch.ends_b_m) for stretch in shared(a, b)]


def ride_through(*corners: tuple[float, float]) -> Ride:
    """Straight from corner to corner at 6 m/s."""
    places = np.array(corners, float)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    at = np.arange(0.0, way[-1] + 0.1, STEP_M)
    return ride_along(np.interp(at, way, places[:, 0]), np.interp(at, way, places[:, 1]))


def test_a_ride_shares_all_with_itself() -> None:
    ride = ride_through((0, 0), (2000, 0), (2000, 1500))
    (only,) = shared(ride, ride)
    assert only.ends_a_m == pytest.approx((0.0, ride.distance_m[-1]), abs=10.0)
    assert only.a_m == pytest.approx(only.b_m, abs=0.5)


def test_the_other_way_round_is_not_the_same() -> None:
    assert shared(ride_through((0, 0), (2000, 0)), ride_through((2000, 0), (0, 0))) == ()


def test_another_road_and_a_crossing_share_nothing() -> None:
    ride = ride_through((0, 0), (2000, 0))
    for other in (
        ride_through((0, 40), (2000, 40)),
        ride_through((1000, -600), (1000, 600)),
        ride_through((200, -400), (1800, 400)),
    ):
        assert shared(ride, other) == ()


def test_different_starts_and_ends() -> None:
    a, b = ride_through((0, 0), (3000, 0)), ride_through((600, 500), (600, 0), (2400, 0))
    (only,) = spans(a, b)
    assert only == pytest.approx((600.0, 2400.0, 500.0, 2300.0), abs=25.0)


def test_a_detour_cuts_the_shared_way_in_two() -> None:
    a = ride_through((0, 0), (3000, 0))
    b = ride_through((0, 0), (1000, 0), (1000, 300), (1600, 300), (1600, 0), (3000, 0))
    first, second = spans(a, b)
    assert first == pytest.approx((0.0, 1000.0, 0.0, 1000.0), abs=25.0)
    assert second == pytest.approx((1600.0, 3000.0, 2200.0, 3600.0), abs=25.0)


def test_out_and_back_matches_by_direction() -> None:
    there_and_back = ride_through((0, 0), (2000, 0), (0, 0))
    (back,) = spans(there_and_back, ride_through((1500, 0), (500, 0)))
    assert back == pytest.approx((2500.0, 3500.0, 0.0, 1000.0), abs=25.0)
    (whole,) = shared(there_and_back, there_and_back)
    assert whole.a_m == pytest.approx(whole.b_m, abs=1.0)


def test_a_course_that_crosses_itself_and_is_ridden_twice() -> None:
    """A figure of eight, two laps: lap by lap, and never from one lap into the other."""
    angle = np.linspace(0.0, 4.0 * np.pi, 2401)
    east, north = 400.0 * np.sin(angle), 250.0 * np.sin(2.0 * angle)
    rng = np.random.default_rng(3)
    rides = []
    for _ in range(2):
        error = wander(np.arange(2401.0), rng, sd_m=2.0, white_m=0.3)
        track = make_track(np.arange(2401.0), east + error[0], north + error[1])
        rides.append(trace_ride(track, MOTION))
    (only,) = shared(*rides)
    assert only.ends_a_m == pytest.approx((0.0, rides[0].distance_m[-1]), abs=30.0)
    assert np.abs(only.a_m - only.b_m).max() < 40.0


def test_a_loop_from_another_start() -> None:
    square = [(0, 0), (1000, 0), (1000, 1000), (0, 1000), (0, 0)]
    a = ride_through(*square)
    b = ride_through((1000, 500), (1000, 1000), (0, 1000), (0, 0), (1000, 0), (1000, 500))
    first, second = spans(a, b)
    assert first == pytest.approx((0.0, 1500.0, 2500.0, 4000.0), abs=30.0)
    assert second == pytest.approx((1500.0, 4000.0, 0.0, 2500.0), abs=30.0)


def test_places_are_found_in_the_other_ride() -> None:
    a, b = ride_through((0, 0), (3000, 0)), ride_through((600, 0), (2400, 0))
    (only,) = shared(a, b)
    assert only.in_b(np.array([1000.0, 2000.0])) == pytest.approx([400.0, 1400.0], abs=2.0)
    assert np.isnan(only.in_b(np.array([100.0, 2900.0]))).all()


@cache
def recorded(
    character: str, seed: int, recorder: str, sampling_s: float
) -> tuple[SimulatedRide, Ride]:
    sim = simulate(character, seed, recorder=recorder, sampling_s=sampling_s)
    with tempfile.TemporaryDirectory() as folder:
        track = read_track(sim.write(Path(folder), side_files=(), format="fit"))
    return sim, trace_ride(track, MOTION)


def true_distance(sim: SimulatedRide, ride: Ride, distance_m: np.ndarray) -> np.ndarray:
    """True distance at places of a ride, by the clock."""
    since = ride.time_at_distance(distance_m) + ride.start_unix_s - sim.truth.start_unix_s
    return np.interp(since, sim.truth.time_s, sim.truth.distance_m)


@pytest.mark.parametrize("sampling_s", [1.0, 4.0])
@pytest.mark.parametrize("character", ["city", "hilly", "trail", "windy"])
def test_two_recordings_of_one_ride(character: str, sampling_s: float) -> None:
    """Truth: the simulator's own distance at the clock times of both."""
    for seed in (1, 2):
        sim, a = recorded(character, seed, "computer", 1.0)
        _, b = recorded(character, seed, "phone", sampling_s)
        stretches = shared(a, b)
        covered = sum(stretch.a_m[-1] - stretch.a_m[0] for stretch in stretches)
        assert covered > 0.95 * a.distance_m[-1]
        off = np.concatenate(
            [
                true_distance(sim, a, stretch.a_m) - true_distance(sim, b, stretch.b_m)
                for stretch in stretches
            ]
        )
        assert np.quantile(np.abs(off), 0.95) < 15.0
        assert all(np.diff(stretch.a_m).min() > 0.0 for stretch in stretches)
        assert all(np.diff(stretch.b_m).min() > 0.0 for stretch in stretches)
        for before, after in pairwise(stretches):
            assert before.a_m[-1] < after.a_m[0]


def test_features_are_matched_by_what_they_share() -> None:
    """The second ride joins 800 m later: its climb at 1.2 km is the first one's at 2.0 km."""
    long = plain_ride(stops=())
    height = ramp(long.distance_m, 2000.0, 1000.0, 0.05) - ramp(long.distance_m, 4500.0, 900, 0.05)
    a = cut(long, height_m=height)
    late = ride_on_the_equator(long, 800.0, 4600.0)
    b = cut(late, height_m=np.interp(late.distance_m + 800.0, long.distance_m, height))
    course = match_sections(a, b, CONFIG.places)
    assert len(course.stretches) == 1
    pairs = {pair.a.kind: pair for pair in course.features}
    assert pairs["climb"].a.start_m - pairs["climb"].b.start_m == pytest.approx(800.0, abs=40.0)
    assert pairs["climb"].jaccard > 0.9
    assert "descent" not in pairs  # the second ride ends at its beginning


def ride_on_the_equator(ride: Ride, from_m: float, to_m: float) -> Ride:
    """The part of a straight ride along the equator between two distances, ridden anew."""
    east = np.arange(from_m, to_m, 5.0)
    return trace_ride(make_track(np.arange(float(len(east))), east, origin=(0.0, 0.0)), MOTION)
