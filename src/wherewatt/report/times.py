"""Times of a ride as UTC, and as text."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pandas as pd

from wherewatt.arrays import FloatArray
from wherewatt.motion.ride import Ride


def clock(ride: Ride, time_s: FloatArray) -> pd.DatetimeIndex:
    """UTC of times of the ride, to the nanosecond."""
    since_start = np.rint(time_s * 1e9).astype(np.int64)
    return pd.DatetimeIndex(ride.start_unix_ns + since_start, tz="UTC")


def with_iso_times(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with its times as ISO 8601 with a Z, all to the coarsest unit that loses nothing.

    There must be a column of times.
    """
    times = [name for name in frame if isinstance(frame[name].dtype, pd.DatetimeTZDtype)]
    instants = {name: frame[name].dt.tz_convert(None).to_numpy() for name in times}
    unit = _coarsest_unit(np.concatenate(list(instants.values())))
    texts = {
        name: [f"{text}Z" for text in np.datetime_as_string(values, unit=unit)]
        for name, values in instants.items()
    }
    return frame.assign(**texts)


def _coarsest_unit(instants: np.ndarray[Any, Any]) -> Literal["s", "ms", "us", "ns"]:
    units: tuple[Literal["s", "ms", "us"], ...] = ("s", "ms", "us")
    for unit in units:
        if (instants == instants.astype(f"M8[{unit}]")).all():
            return unit
    return "ns"
