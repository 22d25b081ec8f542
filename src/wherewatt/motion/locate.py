"""From a place as a person writes it to a time of the ride."""

from __future__ import annotations

import numpy as np

from wherewatt.ingest.place import Place, PlaceKind
from wherewatt.motion.ride import Ride

# A vehicle's own odometer and the track may differ: common practice, no source.
DISTANCE_SLACK = 0.03
DISTANCE_SLACK_M = 200.0
TIME_SLACK_S = 120.0


def locate(place: Place, ride: Ride) -> float:
    """Time of the ride [s] at which a place was reached.

    A place a little outside the ride (odometers differ, clocks differ) is moved to its end.

    Raises
    ------
    ValueError
        If the place is well outside the ride; the message says where the ride ends.
    """
    if place.kind is PlaceKind.DISTANCE:
        total = float(ride.distance_m[-1])
        if place.value > total * (1.0 + DISTANCE_SLACK) + DISTANCE_SLACK_M:
            raise ValueError(f"a place within the ride, which ends at {total / 1000.0:.2f} km")
        return float(ride.time_at_distance(min(place.value, total)))
    elapsed = place.value
    if place.kind is PlaceKind.CLOCK:
        elapsed -= ride.start_unix_s
    end = float(ride.time_s[-1])
    if not -TIME_SLACK_S <= elapsed <= end + TIME_SLACK_S:
        raise ValueError(f"a time within the ride, which lasts {end:.0f} s")
    return float(np.clip(elapsed, 0.0, end))
