"""Random functions of time or distance that wander the way real disturbances do."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def ou_at(rng: np.random.Generator, at: FloatArray, scale: float, sd: float) -> FloatArray:
    """Sample a stationary Ornstein-Uhlenbeck process at rising places.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    at : array, shape (n,)
        Non-decreasing times [s] or distances [m].
    scale : float
        Correlation time or length, in the unit of `at`.
    sd : float
        Stationary standard deviation, in the unit wanted.

    Returns
    -------
    array, shape (n,)
        One realisation; its autocorrelation is ``exp(-lag / scale)``.
    """
    keep = np.exp(-np.diff(at, prepend=at[:1]) / scale)
    kick = sd * np.sqrt(1.0 - keep**2) * rng.standard_normal(at.size)
    value = sd * rng.standard_normal()
    values = []
    for k, e in zip(keep.tolist(), kick.tolist(), strict=True):
        value = k * value + e
        values.append(value)
    return np.array(values)


def smooth_waves(
    rng: np.random.Generator, at: FloatArray, shortest: float, longest: float
) -> FloatArray:
    """Sum forty sines of random phase: a smooth function of unit standard deviation.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    at : array, shape (n,)
        Places [m] or times [s].
    shortest, longest : float
        Range of the wavelengths, in the unit of `at`; drawn uniformly in the logarithm.

    Returns
    -------
    array, shape (n,)
        The function; its variance over many wavelengths is 1.
    """
    count = 40
    wavelengths = np.exp(rng.uniform(math.log(shortest), math.log(longest), count))
    phases = rng.uniform(0.0, 2.0 * math.pi, count)
    total = np.zeros(at.size)
    for wavelength, phase in zip(wavelengths, phases, strict=True):
        total += np.sin(2.0 * math.pi * at / wavelength + phase)
    return total * math.sqrt(2.0 / count)


def gaussian_smooth(values: FloatArray, sd_steps: float, *, wrap: bool = False) -> FloatArray:
    """Smooth evenly spaced values with a Gaussian kernel.

    Parameters
    ----------
    values : array, shape (n,)
        Evenly spaced values, any unit.
    sd_steps : float
        Standard deviation of the kernel, in steps.
    wrap : bool
        Whether the last value is the first one again (a loop); otherwise the ends are held.
    """
    half = max(1, min(int(4.0 * sd_steps), values.size - 2))
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / sd_steps) ** 2)
    kernel /= kernel.sum()
    if wrap:
        padded = np.concatenate([values[-half - 1 : -1], values, values[1 : half + 1]])
    else:
        padded = np.pad(values, half, mode="edge")
    return np.convolve(padded, kernel, mode="valid")
