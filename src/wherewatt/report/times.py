"""Times of a ride as UTC, and as text."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Literal

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.motion.ride import Ride


def clock(ride: Ride, time_s: FloatArray) -> np.ndarray[Any, Any]:
    """UTC of times of the ride, to the nanosecond, as ``datetime64[ns]``."""
    since_start = np.rint(time_s * 1e9).astype(np.int64)
    return (ride.start_unix_ns + since_start).astype("datetime64[ns]")


def iso_start(ride: Ride) -> str:
    """UTC of the first point as ISO 8601, with as many digits as it needs."""
    start = clock(ride, ride.time_s[:1])[0]
    nanoseconds = int(start.astype(np.int64)) % 10**9
    unit: Literal["s", "us", "ns"] = "ns"
    if nanoseconds % 1000 == 0:
        unit = "us" if nanoseconds else "s"
    return f"{np.datetime_as_string(start, unit=unit)}+00:00"


def start_second(ride: Ride) -> str:
    """UTC of the first point as ISO 8601, to the second: tells rides of one name apart."""
    return datetime.fromtimestamp(round(ride.start_unix_s), UTC).isoformat()
