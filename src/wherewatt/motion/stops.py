"""Stand-stills, in spite of positions that wander."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, runs
from wherewatt.motion.geodesy import root_of_squares
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
    path_m : (2, n) smoothed east and north [m].
    speed_m_s : (n,) recorded speed [m/s], or None.
    """
    if speed_m_s is not None:
        leg_s = np.diff(time_s)
        standing = speed_m_s[1:] + speed_m_s[:-1] < 2.0 * settings.stop_speed_m_s
        long = np.flatnonzero(leg_s > settings.gap_s)
        way = np.hypot(*(path_m[:, long + 1] - path_m[:, long]))
        standing[long] = way < settings.stop_speed_m_s * leg_s[long]
    else:
        middle = (time_s[1:] + time_s[:-1]) / 2.0
        half = np.maximum(settings.stop_window_s, np.diff(time_s)) / 2.0
        start, end = np.maximum(middle - half, time_s[0]), np.minimum(middle + half, time_s[-1])
        way = root_of_squares(
            *(np.interp(end, time_s, axis) - np.interp(start, time_s, axis) for axis in path_m)
        )
        standing = way < settings.stop_speed_m_s * (end - start)
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
    long = np.diff(time_s) >= settings.shortest_stop_s
    sparse = np.flatnonzero(long[1:] & long[:-1]) + 1
    if speed_m_s is not None and len(sparse):
        moving = np.minimum(speed_m_s[sparse + 1], speed_m_s[sparse - 1]) >= settings.stop_speed_m_s
        rests[sparse] = (speed_m_s[sparse] < settings.at_rest_m_s) & moving
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
