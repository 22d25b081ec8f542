"""The ride: places on it, and points added to it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.motion.builders import START_UNIX_NS, plain_ride
from wherewatt.ingest.place import parse_place
from wherewatt.motion.locate import locate

START_S = START_UNIX_NS / 1e9


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
    assert ride.time_at_distance(where) == pytest.approx(315.0, abs=0.5)


def test_locate_by_distance_elapsed_and_clock() -> None:
    ride = plain_ride(stops=())
    kilometre = locate(parse_place("1 km"), ride)
    assert np.interp(kilometre, ride.time_s, ride.distance_m) == pytest.approx(1000.0, abs=1e-6)
    assert locate(parse_place("0:10:00"), ride) == 600.0
    assert locate(parse_place("2025-05-04T10:05:00Z"), ride) == 300.0
    assert locate(parse_place("2025-05-04T12:05:00+02:00"), ride) == 300.0
    mile = locate(parse_place("1 mi"), ride)
    assert np.interp(mile, ride.time_s, ride.distance_m) == pytest.approx(1609.344, abs=1e-6)


def test_a_little_outside_is_the_end() -> None:
    ride = plain_ride(stops=())
    total_km = ride.distance_m[-1] / 1000.0
    assert locate(parse_place(f"{total_km + 0.1:.2f} km"), ride) == pytest.approx(ride.time_s[-1])
    assert locate(parse_place("0:20:30"), ride) == ride.time_s[-1]


@pytest.mark.parametrize("text", ["25 km", "3:00:00", "2025-05-04T09:00:00Z"])
def test_well_outside_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="within the ride"):
        locate(parse_place(text), plain_ride())
