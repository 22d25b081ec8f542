"""The ride: cleaned points and the legs between them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.ingest.track import Note

# What is linear between two points.
_BETWEEN = ("latitude_deg", "longitude_deg", "distance_m", "speed_m_s", "rider_w")


@dataclass(frozen=True, slots=True)
class Stop:
    """A stand-still: seconds since the start of the ride, and where [m from the start]."""

    start_s: float
    end_s: float
    distance_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Ride:
    """Cleaned points (n,) and legs (n−1,); times strictly increase, distance never falls.

    Parameters
    ----------
    start_unix_ns : UTC of the first point [ns since 1970].
    recorded_from_s : when the recording began, before its first position: never positive [s].
    time_s : (n,) time since the first point [s].
    latitude_deg, longitude_deg : (n,) smoothed position [degree].
    fixed : (n,) True where a position was recorded, False where it was filled in.
    distance_m : (n,) distance travelled [m]; it does not grow while standing still.
    speed_m_s : (n,) speed at the point [m/s].
    recorded_height_m : (n,) height as recorded [m], NaN where there is none.
    rider_w : (n,) power at the pedals as recorded [W], NaN where there is none.
    heading_rad : (n−1,) direction of travel, clockwise from north [rad].
    standing : (n−1,) True on legs of a stop or pause.
    stops : the stand-stills, in order.
    notes : what was odd and what was done about it.
    """

    start_unix_ns: int
    recorded_from_s: float
    time_s: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    fixed: BoolArray
    distance_m: FloatArray
    speed_m_s: FloatArray
    recorded_height_m: FloatArray
    rider_w: FloatArray
    heading_rad: FloatArray
    standing: BoolArray
    stops: tuple[Stop, ...]
    notes: tuple[Note, ...] = ()

    @property
    def leg_time_s(self) -> FloatArray:
        """(n−1,) duration of each leg [s]."""
        return np.diff(self.time_s)

    @property
    def leg_distance_m(self) -> FloatArray:
        """(n−1,) length of each leg [m]."""
        return np.diff(self.distance_m)

    @property
    def leg_speed_m_s(self) -> FloatArray:
        """(n−1,) mean speed over each leg [m/s]."""
        return self.leg_distance_m / self.leg_time_s

    @property
    def start_unix_s(self) -> float:
        """UTC of the first point [s since 1970]."""
        return self.start_unix_ns / 1e9

    def time_at_distance(self, distance_m: FloatArray) -> FloatArray:
        """Times at which distances were reached [s]; the middle of the stop where it stood."""
        moved = np.diff(self.distance_m) > 0.0
        arrived, leaving = np.append(True, moved), np.append(moved, True)
        middle = (self.time_s[arrived] + self.time_s[leaving]) / 2.0
        return np.interp(distance_m, self.distance_m[arrived], middle)

    def times_at_places(self, distance_m: FloatArray) -> FloatArray:
        """`time_at_distance` of places within the ride [s], looking only at points around them."""
        way = self.distance_m
        last = way.searchsorted(distance_m, side="right") - 1  # that is not beyond
        following = np.minimum(last + 1, len(way) - 1)
        gone, ahead = distance_m - way[last], way[following] - way[last]
        share = np.divide(gone, ahead, out=np.zeros(len(gone)), where=ahead > 0.0)
        middle = self._middle_of_stand(last)
        return middle + share * (self._middle_of_stand(following) - middle)

    def _middle_of_stand(self, points: IntArray) -> FloatArray:
        """Middle of the time over which it stood where points are [s]."""
        place = self.distance_m[points]
        first = self.distance_m.searchsorted(place)
        end = self.distance_m.searchsorted(place, side="right")
        return (self.time_s[first] + self.time_s[end - 1]) / 2.0

    def split(self, time_s: FloatArray) -> Ride:
        """The same ride with points added at the given times, where there are none yet."""
        added = np.unique(time_s[(time_s > self.time_s[0]) & (time_s < self.time_s[-1])])
        before = np.searchsorted(self.time_s, added)
        missing = self.time_s[before] != added
        added, new = added[missing], before[missing] + np.arange(int(missing.sum()))
        if not len(added):
            return self
        source = np.arange(len(self.time_s) + len(added))  # of a new point: the one before it
        source -= np.repeat(np.arange(len(new) + 1), np.diff(new, prepend=0, append=len(source)))
        at_new = {
            "time_s": added,
            "fixed": False,
            "recorded_height_m": np.nan,
            **{name: np.interp(added, self.time_s, getattr(self, name)) for name in _BETWEEN},
        }
        points = {name: getattr(self, name).take(source) for name in at_new}
        for name, values in at_new.items():
            points[name][new] = values
        legs = {name: getattr(self, name).take(source[:-1]) for name in ("heading_rad", "standing")}
        return replace(self, **points, **legs)
