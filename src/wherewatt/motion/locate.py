"""From a place as a person writes it to a time of the ride."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from wherewatt.arrays import median
from wherewatt.ingest.place import Place, PlaceKind
from wherewatt.ingest.track import Note
from wherewatt.motion.ride import Ride

# A vehicle's own odometer and the track may differ: common practice, no source.
ODOMETER_SLACK = 0.05
ODOMETER_SLACK_M = 100.0
TIME_SLACK_S = 120.0
# Sparse points cut bends, so that their track is shorter than the road: from legs of 25 m on, up to
# so much more at 100 m and above; common practice, no source.
_CUT_SHARE = 0.1
_DENSE_M, _SPARSE_M = 25.0, 100.0


@dataclass(frozen=True, slots=True)
class Locator:
    """Turns places as a person writes them into times of a ride.

    Parameters
    ----------
    ride : the ride.
    odometer_scale : what a distance of the user's is multiplied by to be one of the ride's.
    reached_s : times of distances of the user's that are known already [s].
    """

    ride: Ride
    odometer_scale: float = 1.0
    reached_s: Mapping[float, float] = field(default_factory=dict)

    @classmethod
    def fitted(cls, ride: Ride, places: Iterable[Place]) -> Locator:
        """A locator for all places a user gave for one ride.

        Where the user's odometer ran a little farther than the track, its distances are scaled
        down so that the farthest is the ride's end: an odometer errs by a share, not by an end.
        """
        total = float(ride.distance_m[-1])
        reach = total * (1.0 + ODOMETER_SLACK + _cut_share(ride)) + ODOMETER_SLACK_M
        distances = [place.value for place in places if place.kind is PlaceKind.DISTANCE]
        distances = [value for value in distances if value <= reach]
        farthest = max(distances, default=0.0)
        scale = total / farthest if farthest > total else 1.0
        times = ride.times_at_places(np.minimum(scale * np.array(distances), total))
        return cls(ride, scale, dict(zip(distances, times.tolist(), strict=True)))

    def time_s(self, place: Place) -> float:
        """Time of the ride [s] at which a place was reached.

        A time before the first position, or a little outside the ride, is moved to its end:
        recordings begin before the satellites are found, and clocks differ.

        Raises
        ------
        ValueError
            If the place is outside the ride; the message says what was expected.
        """
        ride = self.ride
        if place.kind is PlaceKind.DISTANCE:
            if (known := self.reached_s.get(place.value)) is not None:
                return known
            total = float(ride.distance_m[-1])
            distance = place.value * self.odometer_scale
            if distance > total + 0.01:
                raise ValueError(f"a place within the ride, which ends at {total / 1000.0:.2f} km")
            return float(ride.times_at_places(np.array([min(distance, total)]))[0])
        if place.kind is PlaceKind.CLOCK:
            elapsed = place.value - ride.start_unix_s
        else:  # a display counts from the start of the recording
            elapsed = place.value + ride.recorded_from_s
        end = float(ride.time_s[-1])
        if not ride.recorded_from_s - TIME_SLACK_S <= elapsed <= end + TIME_SLACK_S:
            raise ValueError(f"a time within the ride, which lasts {end:.0f} s")
        return min(max(elapsed, 0.0), end)

    @property
    def notes(self) -> tuple[Note, ...]:
        """What to tell the user about the scale."""
        if self.odometer_scale > 0.99:
            return ()
        percent = 100.0 * (1.0 / self.odometer_scale - 1.0)
        message = f"your distances run {percent:.1f} % past the track: scaled to end with it"
        return (Note("odometer-scaled", message),)


def _cut_share(ride: Ride) -> float:
    """By what share a track may be shorter than its road, since its points are sparse."""
    leg_m = median(ride.leg_distance_m[~ride.standing])
    return _CUT_SHARE * min(max((leg_m - _DENSE_M) / (_SPARSE_M - _DENSE_M), 0.0), 1.0)
