"""The way from two sources: positions, which cut corners, and the device's own count."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.ingest.track import Note

# Over this time both ways are compared; shorter, the noise of positions would count.
_WINDOW_S = 60.0
# Sparse points cut corners: by how much positions may fall short of the device's count before
# the count is doubted. Dense ones do not.
_DENSE_LEG_M = 12.0
_SHORTFALL = {True: 0.015, False: 0.08}
_EXCESS = 0.02


def measure_legs(
    time_s: FloatArray, path_m: FloatArray, counted_m: FloatArray | None
) -> tuple[FloatArray, list[Note]]:
    """Length of each leg from the path between positions and the device's own count.

    The path gives the legs' proportions and the device the length of a minute's riding, as far as
    the two agree over the whole ride; where they do not, the positions are believed.

    Parameters
    ----------
    time_s : (n,) [s].
    path_m : (n−1,) length of the path between positions, zero while standing [m].
    counted_m : (n−1,) way the device counted [m], or None.

    Returns
    -------
    (n−1,) lengths [m], and what to tell the user.
    """
    moving = path_m > 0
    if counted_m is None or not moving.any():
        return path_m, []
    counted = np.where(moving, counted_m, 0.0)
    total = float(counted.sum())
    ratio = float(path_m.sum()) / total if total > 0 else np.inf
    short = np.count_nonzero(moving & (path_m < _DENSE_LEG_M))
    dense = bool(2 * short > np.count_nonzero(moving))
    if not 1.0 - _SHORTFALL[dense] <= ratio <= 1.0 + _EXCESS:
        message = f"the device counted {1 / ratio:.3f} times the way between positions"
        notes = [Note("odometer-and-positions-differ", f"{message}; the positions are used")]
        return path_m, notes if abs(ratio - 1.0) > 0.03 else []
    middle = (time_s[1:] + time_s[:-1]) / 2.0
    of_device, of_path = _windowed(middle, counted, path_m)
    return path_m * np.clip(of_device / np.maximum(of_path, 1.0), 0.9, 1.3), []


def _windowed(time_s: FloatArray, *columns: FloatArray) -> list[FloatArray]:
    """Sums of values within half a window of each of their times."""
    last = np.searchsorted(time_s, time_s + _WINDOW_S / 2.0, side="right")
    # what ends within i windows lies before the window of the i-th
    first = np.cumsum(np.bincount(last, minlength=len(time_s)))[: len(time_s)]
    totals = [np.concatenate([[0.0], np.cumsum(values)]) for values in columns]
    return [total[last] - total[first] for total in totals]
