"""Ascent and descent that do not grow with noise or with the number of points.

Every ripple of a height curve adds to the sum of its rises, so that sum grows with the noise and
with the sampling rate. Here a climb goes on until the height has fallen by a threshold below its
highest point, and a descent likewise: what is counted is the difference between such turning
points (a hysteresis filter, as the rainflow method of ASTM E1049-85 uses for peaks and valleys).
"""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray


def turning_points(height_m: FloatArray, threshold_m: float) -> IntArray:
    """Indices at which climbing turns into descending or back, with the first and the last.

    Parameters
    ----------
    height_m : (n,) heights in order [m].
    threshold_m : least difference between two turning points within the ride [m].
    """
    bends = np.flatnonzero(np.diff(np.sign(_without_levels(height_m)))) + 1
    bends = _without_ripples(
        np.concatenate([[0], bends, [len(height_m) - 1]]), height_m, threshold_m
    )
    turns, low, high, rising = [0], 0, 0, 0
    lowest = highest = float(height_m[0])
    for index, height in zip(bends[1:].tolist(), height_m[bends[1:]].tolist(), strict=True):
        if height < lowest:
            low, lowest = index, height
        if height > highest:
            high, highest = index, height
        if rising >= 0 and highest - height >= threshold_m:
            turns, low, lowest, rising = _turned(turns, high), index, height, -1
        elif rising <= 0 and height - lowest >= threshold_m:
            turns, high, highest, rising = _turned(turns, low), index, height, 1
        if rising > 0:
            low, lowest = index, height
        elif rising < 0:
            high, highest = index, height
    return np.array(_turned(turns, len(height_m) - 1), dtype=np.intp)


def _without_ripples(bends: IntArray, height_m: FloatArray, threshold_m: float) -> IntArray:
    """Bends without pairs of less than the threshold that lie within the steps around them.

    They reach neither higher nor lower than what is around, so they turn nothing.
    """
    while True:
        step = np.abs(np.diff(height_m[bends]))
        within = (step[1:-1] < np.minimum(step[:-2], step[2:])) & (step[1:-1] < threshold_m)
        if not within.any():
            return bends
        kept = np.ones(len(bends), dtype=bool)
        kept[1:-2][within] = kept[2:-1][within] = False
        bends = bends[kept]


def _turned(turns: list[int], index: int) -> list[int]:
    return turns if turns[-1] == index else [*turns, index]


def _without_levels(height_m: FloatArray) -> FloatArray:
    """(n−1,) steps, with those of zero taking the direction of the step before."""
    step = np.diff(height_m)
    moving = np.where(step != 0, np.arange(len(step)), 0)
    return step[np.maximum.accumulate(moving)]


def climbing_legs(height_m: FloatArray, threshold_m: float) -> BoolArray:
    """(n−1,) True on legs of a climb between turning points, False on those of a descent."""
    turns = turning_points(height_m, threshold_m)
    up = np.diff(height_m[turns]) >= 0
    return np.repeat(up, np.diff(turns))


def ascent_and_descent(
    height_m: FloatArray, part: IntArray, parts: int, threshold_m: float
) -> tuple[FloatArray, FloatArray]:
    """Ascent and descent of parts of a ride; their difference is exactly the part's rise.

    Parameters
    ----------
    height_m : (n,) heights in order [m].
    part : (n−1,) part to which each leg belongs, from 0.
    parts : number of parts.
    threshold_m : differences of height less than this are not counted [m].

    Returns
    -------
    (parts,) ascent and (parts,) descent, neither negative [m].
    """
    rise = np.diff(height_m)
    climbing = climbing_legs(height_m, threshold_m)
    up = np.bincount(part, weights=np.where(climbing, rise, 0.0), minlength=parts)
    down = np.bincount(part, weights=np.where(climbing, 0.0, -rise), minlength=parts)
    # A part may lie within a ripple of a climb: what it falls there is descent.
    return (
        np.maximum(up, 0.0) + np.maximum(-down, 0.0),
        np.maximum(down, 0.0) + np.maximum(-up, 0.0),
    )
