"""Rides over known heights, and sources of height that err as real ones do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.motion.builders import plain_ride
from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.motion.ride import Ride

TERRAIN = load_config().terrain


def hills(distance_m: FloatArray) -> FloatArray:
    """Rolling ground: grades to about 4 % [m]."""
    return 300.0 + 25.0 * np.sin(distance_m / 900.0) + 4.0 * np.sin(distance_m / 230.0 + 1.0)


def correlated(at: FloatArray, length: float, sd: float, rng: np.random.Generator) -> FloatArray:
    """Errors at increasing places that are alike over a length, with a standard deviation."""
    error = np.empty(len(at))
    error[0] = rng.normal(0.0, sd)
    keep = np.exp(-np.diff(at) / length)
    for step, kept in enumerate(keep):
        error[step + 1] = kept * error[step] + sd * np.sqrt(1.0 - kept**2) * rng.normal()
    return error


def ride_over(heights: FloatArray | None, *, duration_s: float = 1200.0) -> Ride:
    """A ride of 6 m/s without stops whose recording holds the given heights."""
    ride = plain_ride(duration_s=duration_s, stops=())
    return ride if heights is None else replace(ride, recorded_height_m=heights)
