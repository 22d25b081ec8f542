"""A battery logger's voltage times current: the energy itself, measured along the ride."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.ingest.track import Note, Track
from wherewatt.motion.ride import Ride
from wherewatt.units import JOULES_PER_WATT_HOUR

# Farther apart than this, what happened between two readings is not known.
_LONGEST_STEP_S = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class PackLog:
    """Energy that a logger counted, along the time of the ride.

    Parameters
    ----------
    time_s : (k,) times of readings, since the start of the ride [s]; strictly increasing.
    counted_wh : (k,) energy since the first reading [Wh].
    unknown_s : (k,) time since the first reading over which nothing was logged [s].
    notes : what was odd and what was done about it.
    """

    time_s: FloatArray
    counted_wh: FloatArray
    unknown_s: FloatArray
    notes: tuple[Note, ...] = ()

    def between(self, edge_s: FloatArray) -> FloatArray:
        """(m−1,) energy between successive times [Wh]; NaN where it was not logged throughout."""
        energy = np.diff(np.interp(edge_s, self.time_s, self.counted_wh))
        unknown = np.diff(np.interp(edge_s, self.time_s, self.unknown_s))
        outside = (edge_s[:-1] < self.time_s[0] - _LONGEST_STEP_S) | (
            edge_s[1:] > self.time_s[-1] + _LONGEST_STEP_S
        )
        return np.where(outside | (unknown > 0.0), np.nan, energy)


def pack_log_of(recorded: Track, ride: Ride) -> PackLog | None:
    """Energy from the voltage and current of a recording; None if it has none during the ride.

    Current counts positive when it leaves the battery; a log with the other sign is turned round.
    A log without a clock of its own is taken to begin with the recording of the ride.

    Parameters
    ----------
    recorded : the ride's own track, or a logger's file beside it.
    """
    known = np.isfinite(recorded.time_s * recorded.battery_v * recorded.battery_a)
    if known.sum() < 2:
        return None
    time = recorded.time_s[known] + _offset_s(recorded, ride)
    power = (recorded.battery_v * recorded.battery_a)[known]
    first = np.concatenate([[True], np.diff(np.maximum.accumulate(time)) > 0])
    time, power = time[first], power[first]
    if len(time) < 2 or time[-1] <= 0.0 or time[0] >= ride.time_s[-1]:
        return None
    step = np.diff(time)
    joules = np.concatenate([[0.0], np.cumsum(step * (power[1:] + power[:-1]) / 2.0)])
    gaps = np.concatenate([[0.0], np.cumsum(np.where(step > _LONGEST_STEP_S, step, 0.0))])
    notes: tuple[Note, ...] = ()
    if joules[-1] < 0.0:
        joules = -joules
        notes = (
            Note("log-turned-round", "the pack log counts discharge as negative: turned round"),
        )
    return PackLog(time, joules / JOULES_PER_WATT_HOUR, gaps, notes)


def _offset_s(recorded: Track, ride: Ride) -> float:
    """What is added to a log's times to make them the ride's [s]."""
    if recorded.start_unix_ns:
        return (recorded.start_unix_ns - ride.start_unix_ns) / 1e9
    return ride.recorded_from_s
