"""Stand-stills, in spite of positions that wander."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, runs
from wherewatt.motion.ride import Stop
from wherewatt.motion.settings import MotionSettings


def standing_legs(
    time_s: FloatArray,
    path_m: FloatArray,
    speed_m_s: FloatArray | None,
    settings: MotionSettings,
) -> BoolArray:
    """(n−1,) True on legs over which the vehicle stands.

    With a recorded speed, that says so; but over a long leg the recorder slept, and whatever the
    speed at its ends, it stands if it gets nowhere. Without, a leg stands if the net way over a
    window around it is shorter than the slowest riding; drift wanders but gets nowhere.

    Parameters
    ----------
    time_s : (n,) [s].
    path_m : (n, 2) smoothed east and north [m].
    speed_m_s : (n,) recorded speed [m/s], or None.
    """
    if speed_m_s is not None:
        leg_s = np.diff(time_s)
        standing = (speed_m_s[1:] + speed_m_s[:-1]) / 2.0 < settings.stop_speed_m_s
        long = np.flatnonzero(leg_s > settings.gap_s)
        way = np.hypot(*(path_m[long + 1] - path_m[long]).T)
        standing[long] = way < settings.stop_speed_m_s * leg_s[long]
    else:
        middle = (time_s[1:] + time_s[:-1]) / 2.0
        half = np.maximum(settings.stop_window_s, np.diff(time_s)) / 2.0
        ends = [np.clip(middle + sign * half, time_s[0], time_s[-1]) for sign in (-1.0, 1.0)]
        way = np.hypot(
            *(
                np.interp(ends[1], time_s, path_m[:, axis])
                - np.interp(ends[0], time_s, path_m[:, axis])
                for axis in (0, 1)
            )
        )
        standing = way < settings.stop_speed_m_s * (ends[1] - ends[0])
    return _long_enough(standing, time_s, settings.shortest_stop_s)


def _long_enough(standing: BoolArray, time_s: FloatArray, shortest_s: float) -> BoolArray:
    result = standing.copy()
    for first, end in runs(standing):
        if time_s[end] - time_s[first] < shortest_s:
            result[first:end] = False
    return result


def moments_at_rest(
    time_s: FloatArray, speed_m_s: FloatArray | None, settings: MotionSettings
) -> BoolArray:
    """(n,) True where a sparse recording caught the vehicle at rest between two moving points.

    The stand-still is shorter than the legs beside it, so neither of them stands; it is a stop
    all the same.
    """
    rests = np.zeros(len(time_s), dtype=bool)
    if speed_m_s is not None:
        leg_s = np.diff(time_s)
        sparse = np.minimum(leg_s[1:], leg_s[:-1]) >= settings.shortest_stop_s
        moving = np.minimum(speed_m_s[2:], speed_m_s[:-2]) >= settings.stop_speed_m_s
        rests[1:-1] = (speed_m_s[1:-1] < settings.at_rest_m_s) & sparse & moving
    return rests


def list_stops(
    standing: BoolArray,
    at_rest: BoolArray,
    time_s: FloatArray,
    distance_m: FloatArray,
    *,
    creep_m: float,
) -> tuple[Stop, ...]:
    """Stops in order; stand-stills with no more than `creep_m` between them are one stop.

    Parameters
    ----------
    standing : (n−1,) True on legs over which the vehicle stands.
    at_rest : (n,) True at moments of rest that no leg shows.
    """
    stops: list[Stop] = []
    moments = [(index, index) for index in np.flatnonzero(at_rest).tolist()]
    for first, end in sorted([*runs(standing), *moments]):
        start, finish, where = float(time_s[first]), float(time_s[end]), float(distance_m[first])
        if stops and where - stops[-1].distance_m <= creep_m:
            stops[-1] = Stop(stops[-1].start_s, finish, stops[-1].distance_m)
        else:
            stops.append(Stop(start, finish, where))
    return tuple(stops)
