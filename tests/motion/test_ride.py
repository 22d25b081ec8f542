"""The ride: places on it, and points added to it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.motion.builders import MOTION, make_track, plain_ride
from wherewatt.ingest.place import parse_place
from wherewatt.motion.locate import Locator
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride


def test_added_points_lie_on_the_ride() -> None:
    ride = plain_ride()
    added = np.array([10.25, 310.5, 700.0, 1199.9])
    longer = ride.split(added)
    assert set(added) <= set(longer.time_s.tolist())
    assert len(longer.time_s) == len(ride.time_s) + 3
    at = np.searchsorted(longer.time_s, 310.5)
    assert longer.standing[at - 1]
    assert longer.standing[at]
    assert np.isnan(longer.recorded_height_m[at])


def test_points_at_or_beyond_the_ends_are_not_added() -> None:
    ride = plain_ride()
    assert ride.split(np.array([-5.0, 0.0, ride.time_s[-1], 1e6])) is ride


def test_time_at_a_distance_where_it_stood() -> None:
    """The middle of the stop: a reading at a light is read while waiting."""
    ride = plain_ride(stops=((300.0, 330.0),))
    where = float(np.interp(310.0, ride.time_s, ride.distance_m))
    assert ride.times_at_places(np.array([where])) == pytest.approx(315.0, abs=0.5)
    assert ride.time_at_distance(np.array([where])) == pytest.approx(315.0, abs=0.5)


def time_of(text: str, ride: Ride) -> float:
    return Locator(ride).time_s(parse_place(text))


def test_locate_by_distance_elapsed_and_clock() -> None:
    ride = plain_ride(stops=())
    assert np.interp(time_of("1 km", ride), ride.time_s, ride.distance_m) == pytest.approx(1000.0)
    mile = np.interp(time_of("1 mi", ride), ride.time_s, ride.distance_m)
    assert mile == pytest.approx(1609.344)
    assert time_of("0:10:00", ride) == 600.0
    assert time_of("2025-05-04T10:05:00Z", ride) == 300.0
    assert time_of("2025-05-04T12:05:00+02:00", ride) == 300.0


def test_clock_a_little_off_is_the_end() -> None:
    ride = plain_ride(stops=())
    assert time_of("0:20:30", ride) == ride.time_s[-1]
    assert time_of("2025-05-04T09:59:30Z", ride) == 0.0


@pytest.mark.parametrize("text", ["25 km", "3:00:00", "2025-05-04T09:00:00Z"])
def test_well_outside_is_refused(text: str) -> None:
    ride = plain_ride()
    with pytest.raises(ValueError, match="within the ride"):
        Locator.fitted(ride, [parse_place(text)]).time_s(parse_place(text))


def test_odometer_that_runs_on_is_scaled() -> None:
    """Two per cent over: every distance is scaled, not only the last one."""
    ride = plain_ride(stops=())
    total_km = ride.distance_m[-1] / 1000.0
    places = [parse_place(f"{share * 1.02 * total_km:.6f} km") for share in (0.0, 0.5, 1.0)]
    locator = Locator.fitted(ride, places)
    where = np.interp([locator.time_s(place) for place in places], ride.time_s, ride.distance_m)
    assert where / 1000.0 == pytest.approx([0.0, 0.5 * total_km, total_km], abs=1e-3)


def test_sparse_points_cut_bends() -> None:
    """A point every 15 s: the road may be a good deal longer than the track."""
    dense = plain_ride(stops=())
    kept = np.arange(0, len(dense.time_s), 15)
    sparse = trace_ride(
        make_track(dense.time_s[kept], dense.distance_m[kept]), MOTION
    )  # legs of some 90 m
    total_km = sparse.distance_m[-1] / 1000.0
    place = parse_place(f"{1.12 * total_km:.6f} km")
    assert Locator.fitted(sparse, [place]).time_s(place) == pytest.approx(sparse.time_s[-1])
    with pytest.raises(ValueError, match="within the ride"):
        Locator.fitted(dense, [place]).time_s(place)


def test_distances_within_the_ride_are_taken_as_they_are() -> None:
    ride = plain_ride(stops=())
    assert Locator.fitted(ride, [parse_place("5 km")]).odometer_scale == 1.0


def test_points_added_to_one_leg_and_between_missing_values() -> None:
    """Everything linear between the points around; what was recorded stays as it was."""
    power = np.where(np.arange(1201) % 7 < 3, np.nan, 100.0)
    ride = plain_ride(rider_w=power)
    added = np.array([10.75, 10.25, 10.5, 10.25, 300.5, 1199.5])
    longer = ride.split(added)
    times = np.union1d(ride.time_s, added)
    old = np.isin(times, ride.time_s)
    assert longer.time_s.tolist() == times.tolist()
    assert longer.fixed.tolist() == old.tolist()
    for name in ("latitude_deg", "longitude_deg", "distance_m", "speed_m_s", "rider_w"):
        expected = np.interp(times, ride.time_s, getattr(ride, name))
        assert np.array_equal(getattr(longer, name), expected, equal_nan=True), name
    leg = np.searchsorted(ride.time_s, times[1:]) - 1
    assert longer.standing.tolist() == ride.standing[leg].tolist()
    assert longer.heading_rad.tolist() == ride.heading_rad[leg].tolist()


def test_times_at_distances_are_the_mean_of_arrival_and_departure() -> None:
    """At points exactly, before and after stops, in between, and beyond both ends."""
    ride = plain_ride(stops=((300.0, 330.0), (700.0, 720.0)))
    moved = np.append(True, np.diff(ride.distance_m) > 0.0)
    moves = np.append(np.diff(ride.distance_m) > 0.0, True)
    at = np.concatenate([ride.distance_m, np.linspace(-10.0, ride.distance_m[-1] + 10.0, 977)])
    arrival = np.interp(at, ride.distance_m[moved], ride.time_s[moved])
    departure = np.interp(at, ride.distance_m[moves], ride.time_s[moves])
    middle = (arrival + departure) / 2.0
    assert ride.time_at_distance(at) == pytest.approx(middle, abs=1e-9)
    inside = (at >= 0.0) & (at <= ride.distance_m[-1])
    assert ride.times_at_places(at[inside]) == pytest.approx(middle[inside], abs=1e-9)
