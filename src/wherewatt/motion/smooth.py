"""Smoothing of positions in time, for tracks of any sampling."""

from __future__ import annotations

import numpy as np
from scipy.linalg import solveh_banded

from wherewatt.arrays import FloatArray


def smooth_path(
    time_s: FloatArray, path_m: FloatArray, noise_m: FloatArray, *, acceleration_sd_m_s2: float
) -> FloatArray:
    """Positions that balance measured positions against unlikely accelerations.

    Penalised least squares on second divided differences (Whittaker 1923, Proc. Edinburgh Math.
    Soc. 41:63; for uneven steps Eilers 2003, Anal. Chem. 75:3631), solved as one pentadiagonal
    system: time and memory grow linearly with the track.

    Parameters
    ----------
    time_s : (n,) strictly increasing times [s].
    path_m : (n, k) measured coordinates [m].
    noise_m : (n,) standard deviation of the measured positions [m]; infinite where there is none.
    acceleration_sd_m_s2 : root of the spectral density of acceleration [m/s² over √Hz].

    Returns
    -------
    (n, k) smoothed coordinates [m].
    """
    n = len(time_s)
    if n < 3:
        return path_m.copy()
    weight = 1.0 / np.square(noise_m)
    step = np.diff(time_s)
    before, after = step[:-1], step[1:]
    mean = (before + after) / 2.0
    # Rows of the second-difference operator, scaled by the standard deviation of what they see.
    scale = np.sqrt(mean) / acceleration_sd_m_s2
    left, right = scale / (before * mean), scale / (after * mean)
    centre = -(left + right)
    bands = np.zeros((3, n), order="F")  # the diagonal and those below it
    bands[0] = weight
    bands[0, :-2] += np.square(left)
    bands[0, 1:-1] += np.square(centre)
    bands[0, 2:] += np.square(right)
    bands[1, :-2] = left * centre
    bands[1, 1:-1] += centre * right
    bands[2, :-2] = left * right
    weighted = path_m * weight[:, None]
    return np.asarray(solveh_banded(bands, weighted, lower=True, check_finite=False))


def white_noise_sd(values: FloatArray) -> float:
    """Standard deviation of white noise on a smooth curve, from its second differences.

    Second differences of white noise have six times its variance; the median absolute
    deviation keeps real bends of the curve from counting.
    """
    bends = np.diff(values, 2)
    if not len(bends):
        return 0.0
    return float(1.4826 * np.median(np.abs(bends - np.median(bends))) / np.sqrt(6.0))
