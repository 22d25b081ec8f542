"""The ride: cleaned points and the legs between them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.ingest.track import Note


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

    def time_at_distance(self, distance_m: FloatArray | float) -> FloatArray:
        """Time at which a distance was reached [s]; the middle of the stop where it stood there."""
        first = np.interp(distance_m, *_first_of_equal(self.distance_m, self.time_s))
        last = np.interp(
            -np.asarray(distance_m), *_first_of_equal(-self.distance_m[::-1], self.time_s[::-1])
        )
        return np.asarray((first + last) / 2.0)

    def split(self, time_s: FloatArray) -> Ride:
        """The same ride with points added at the given times, where there are none yet."""
        inside = (time_s > self.time_s[0]) & (time_s < self.time_s[-1])
        added = np.setdiff1d(time_s[inside], self.time_s)
        if not len(added):
            return self
        times = np.union1d(self.time_s, added)
        leg = np.searchsorted(self.time_s, times[1:], side="left") - 1
        between = {
            name: np.interp(times, self.time_s, getattr(self, name))
            for name in ("latitude_deg", "longitude_deg", "distance_m", "speed_m_s", "rider_w")
        }
        nearest = np.searchsorted(self.time_s, times)
        new = np.isin(times, added)
        height = np.where(new, np.nan, self.recorded_height_m[nearest])
        return replace(
            self,
            time_s=times,
            **between,
            fixed=~new & self.fixed[nearest],
            recorded_height_m=height,
            heading_rad=self.heading_rad[leg],
            standing=self.standing[leg],
        )


def _first_of_equal(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of a rising curve with only the first of each level, so that it can be inverted."""
    first = np.concatenate([[True], np.diff(x) > 0])
    return x[first], y[first]
