"""Smoothing of what was measured along time, for tracks of any sampling."""

from __future__ import annotations

import math

import numpy as np
from scipy.linalg.lapack import dpbtrf, dpbtrs

from wherewatt.arrays import FloatArray, median, runs

_SETTLES = 200  # columns after which the factor of a matrix with equal columns seldom changes
_SAME = 1e-14


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
        _factorise(bands)
        solved, _ = dpbtrs(bands, weighted, lower=1, overwrite_b=1)
        return np.asarray(solved.T)


def _factorise(bands: FloatArray) -> None:
    """Turn a pentadiagonal matrix into its Cholesky factor.

    Where times go on in even steps the columns of the matrix are alike, and those of the factor
    soon are: the rest of such a run is filled in.

    Parameters
    ----------
    bands : (3, n) the diagonal and those below it, in columns; overwritten.
    """
    entries = bands.T.ravel()
    alike = entries[3:] == entries[:-3]
    start = 0
    for first, last in runs(alike[::3] & alike[1::3] & alike[2::3]):
        settled = max(start, first) + _SETTLES
        if last - settled > _SETTLES:
            _factorise_part(bands, start, settled)
            start = settled
            if _same(*bands[:, start - 2 : start].T.tolist()):
                bands[:, start : last + 1] = bands[:, start - 1 : start]
                start = last + 1
    _factorise_part(bands, start, bands.shape[1])


def _same(one: list[float], other: list[float]) -> bool:
    """Whether columns differ by rounding only."""
    return all(abs(a - b) <= _SAME * abs(a) for a, b in zip(one, other, strict=True))


def _factorise_part(bands: FloatArray, start: int, end: int) -> None:
    """Columns of the factor from `start`, 0 or 2 at least, to before `end`; those before are done.

    They follow from what these leave of the matrix.
    """
    part = bands[:, start : end + 2].copy(order="F")  # columns reach two rows down
    if start:
        (_, lowest), (below, farther) = bands[1:, start - 2 : start].T.tolist()
        part[0, :2] -= below * below + lowest * lowest, farther * farther
        part[1, 0] -= below * farther
    factor, failed = dpbtrf(part, lower=1, overwrite_ab=1)
    if failed:
        raise np.linalg.LinAlgError(f"not positive definite at {start + failed - 1}")
    bands[:, start:end] = factor[:, : end - start]


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
