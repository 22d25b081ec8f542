"""Smoothing of what was measured along time, for tracks of any sampling."""

from __future__ import annotations

import math

import numpy as np
from scipy.linalg import solveh_banded

from wherewatt.arrays import FloatArray, median


class Smoother:
    """Curves through given times that balance measured values against unlikely bends.

    Penalised least squares on second divided differences (Whittaker 1923, Proc. Edinburgh Math.
    Soc. 41:63; for uneven steps Eilers 2003, Anal. Chem. 75:3631), solved as one pentadiagonal
    system: time and memory grow linearly with the track.

    Parameters
    ----------
    time_s : (n,) strictly increasing times [s].
    """

    def __init__(self, time_s: FloatArray) -> None:
        n = len(time_s)
        self._bands = np.zeros((3, n), order="F")  # the diagonal and those below it
        if n < 3:
            return
        step = np.diff(time_s)
        before, after = step[:-1], step[1:]
        # Rows of the second-difference operator, for a bend of unit spectral density.
        mean = (before + after) / 2.0
        root = 1.0 / np.sqrt(mean)
        left, right = root / before, root / after
        centre = left + right
        diagonal, below, lowest = np.zeros(n), centre * right, left * right
        diagonal[:-2] = left * left
        diagonal[1:-1] += centre * centre
        diagonal[2:] += right * right
        left *= centre
        self._bands[0] = diagonal
        self._bands[1, :-2] = -left
        self._bands[1, 1:-1] -= below
        self._bands[2, :-2] = lowest

    def smooth(
        self, values: FloatArray, noise: FloatArray | float, *, bend_sd: float
    ) -> FloatArray:
        """Smoothed values.

        Parameters
        ----------
        values : (k, n) k curves.
        noise : standard deviation of the measured values; one for all times, or (n,).
        bend_sd : root of the spectral density of the second derivative [unit of values/s² √s].

        Returns
        -------
        (k, n)
        """
        if values.shape[1] < 3:
            return values.copy()
        weight = (bend_sd / noise) ** 2
        bands = self._bands.copy(order="F")
        bands[0] += weight
        weighted = (values * weight).T  # as the library wants it: curve after curve
        solved = solveh_banded(
            bands, weighted, overwrite_ab=True, overwrite_b=True, lower=True, check_finite=False
        )
        return np.asarray(solved.T)


def white_noise_sd(values: FloatArray) -> float:
    """Standard deviation of white noise on a smooth curve, from its second differences.

    Second differences of white noise have six times its variance; the median absolute
    deviation keeps real bends of the curve from counting.
    """
    bends = np.diff(values, 2)
    if not len(bends):
        return 0.0
    bends -= median(bends)
    return 1.4826 * median(np.abs(bends, out=bends)) / math.sqrt(6.0)
