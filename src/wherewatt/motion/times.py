"""Order in time: the largest set of points whose times strictly increase."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np

from wherewatt.arrays import FloatArray, IntArray


def increasing(time_s: FloatArray) -> IntArray:
    """Indices of the points to keep so that time strictly increases.

    Of all such sets the largest is taken (patience sorting: Fredman 1975, Discrete Math. 11:29),
    so one clock error costs one point and not all that follow it.

    Parameters
    ----------
    time_s : (n,) finite times [s].
    """
    if np.all(np.diff(time_s) > 0):
        return np.arange(len(time_s))
    tails: list[float] = []
    tail_index: list[int] = []
    previous = np.full(len(time_s), -1, dtype=np.intp)
    for index, value in enumerate(time_s.tolist()):
        slot = bisect_left(tails, value)
        if slot:
            previous[index] = tail_index[slot - 1]
        if slot == len(tails):
            tails.append(value)
            tail_index.append(index)
        elif value < tails[slot]:  # of equal times the first point stays
            tails[slot] = value
            tail_index[slot] = index
    chain = [tail_index[-1]]
    while previous[chain[-1]] >= 0:
        chain.append(int(previous[chain[-1]]))
    return np.array(chain[::-1], dtype=np.intp)
