"""The pace of a ride, as far as its track tells it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wherewatt.allocate.loads import CAUSES
from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.outlook.settings import Pace
from wherewatt.report.result import RideResult

# Set on rides of simulated riders whose wished speed is known: this part of the way is no faster.
_CRUISE_QUANTILE = 0.6
_STRONGEST_QUANTILE = 0.99  # of the time; what is stronger is noise of height and speed
_WINDOW_S = 10.0
_AT_THE_WHEEL = ("rolling", "air", "wind", "height", "speed")


def ridden_pace(result: RideResult, config: Config) -> Pace:
    """How the rider of a ride rides; what a track does not tell is that of the settings.

    The motor is taken to give what it gave on the ride, if that is more than in the settings.
    """
    pace = config.pace
    waits = [stop.end_s - stop.start_s for stop in result.ride.stops]
    short = [wait for wait in waits if wait <= config.sections.longest_traffic_stop_s]
    moving_km = float(result.ride.distance_m[-1]) / 1000.0
    return replace(
        pace,
        top_speed_m_s=max(_cruise(result, pace), 1.1 * pace.walk_m_s),
        wheel_power_w=max(_strongest(result), pace.wheel_power_w),
        stop_s=float(np.mean(short)) if short else pace.stop_s,
        stops_per_km=len(short) / moving_km,
    )


def _cruise(result: RideResult, pace: Pace) -> float:
    """Speed held on a good level road [m/s]: rough roads are ridden at a share of it."""
    legs = result.estimate.evidence.legs
    share = np.array([pace.slower_on.get(name, 1.0) for name in legs.surfaces])[legs.surface]
    moving = legs.moving & (legs.distance_m > 0.0)
    speed, way = (legs.speed_m_s / share)[moving], legs.distance_m[moving]
    order = np.argsort(speed)
    before = np.cumsum(way[order]) / way.sum()
    return float(np.interp(_CRUISE_QUANTILE, before, speed[order]))


def _strongest(result: RideResult) -> float:
    """The power at the wheel that the ride's strongest moments had [W]."""
    ride = result.ride
    rows = [CAUSES.index(name) for name in _AT_THE_WHEEL]
    joules = result.estimate.loads.causes[rows].sum(axis=0) * result.estimate.leg_factor
    return float(np.quantile(power_over(ride.time_s, joules, _WINDOW_S), _STRONGEST_QUANTILE))


def power_over(time_s: FloatArray, joules: FloatArray, window_s: float) -> FloatArray:
    """Mean power over windows of a ride, one for each second [W].

    Parameters
    ----------
    time_s : (n,) times of the points [s].
    joules : (n−1,) energy of the legs between them [J].
    """
    so_far = np.concatenate([[0.0], np.cumsum(joules)])
    window = min(window_s, float(time_s[-1] - time_s[0]))
    start = np.arange(time_s[0], time_s[-1] - window + 1e-9, 1.0)
    spent = np.interp(start + window, time_s, so_far) - np.interp(start, time_s, so_far)
    return np.asarray(spent / max(window, 1e-9))
