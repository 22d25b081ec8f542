"""The best cut of a ride into labelled stretches, over the whole ride at once."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np

from wherewatt.arrays import FloatArray, IntArray

# Cells of a part that is decoded beside the others: more than the labels of a cell depend on.
_PART_CELLS = 64


def best_labels(cost: FloatArray, *, change: float, shortest: int) -> IntArray:
    """Labels of least total cost, with a price per change and a shortest stretch.

    Minimises the sum of ``cost[cell, label]`` plus `change` for each change of label, over all
    labellings in which a stretch has at least `shortest` cells (the first may be cut by the start
    of the ride). Exact, by dynamic programming over cells (a semi-Markov Viterbi decoding with a
    minimum duration); time grows linearly with the cells.

    Parameters
    ----------
    cost : (k, c) cost of giving a cell a label.
    change : price of a change of label, in the unit of the cost.
    shortest : fewest cells in a stretch.

    Returns
    -------
    (k,) label of each cell; of equally good ones, those that change earlier.
    """
    cells, labels = cost.shape
    shortest = max(1, shortest)
    if cells <= shortest or labels == 1:
        return np.full(cells, int(np.argmin(cost.sum(axis=0))), dtype=np.intp)
    # In multiples of a unit so large that all sums are exact: then equal costs are seen to be so.
    unit = np.spacing(8.0 * (np.abs(cost).sum() + change))
    spent = np.cumsum(np.rint(np.ascontiguousarray(cost.T) / unit), axis=1)
    spent *= unit
    return _trace_back(_headway(spent, unit * np.rint(change / unit), shortest), spent, shortest)


def _headway(spent: FloatArray, change: float, shortest: int) -> FloatArray:
    """(c, k) least cost up to a cell in a complete stretch of a label, less what is `spent` on it.

    What is `spent` on a label is what all cells so far would have cost with it. So going on with
    a label leaves the headway as it is: it only ever falls, and where it does, a stretch has
    become complete that was worth its change.

    Parts of the ride are decoded side by side: first as if a ride began with each of them, then
    again from where the part before ended, until all end as they did. What was long ago soon
    shifts all labels alike, so the second time is mostly the last.
    """
    labels, cells = spent.shape
    part = shortest * max(1, _PART_CELLS // shortest)
    parts = -(-(cells - shortest) // part)
    sums = _in_parts(spent, parts, part, shortest)
    found = np.zeros(sums.shape)  # by label, cell of a part, and part
    for _ in range(parts):  # each time one more is right for sure
        _decode(found, sums, change, shortest)
        shift = np.append(0.0, found[:, -1, :-1].min(axis=0))
        before = np.concatenate([found[:, :shortest, :1], found[:, -shortest:, :-1]], axis=2)
        before -= shift
        if np.array_equal(before, found[:, :shortest]):
            break
        found[:, :shortest] = before
    found += np.cumsum(shift)
    later = found[:, shortest:].transpose(0, 2, 1).reshape(labels, -1)
    return np.concatenate([found[:, :shortest, 0], later], axis=1)[:, :cells]


def _in_parts(spent: FloatArray, parts: int, part: int, shortest: int) -> FloatArray:
    """(c, part + shortest, parts) the parts of a ride, each with the last cells of the one before.

    The last part is filled up with its last cell.
    """
    labels, cells = spent.shape
    padded = np.empty((labels, parts * part + shortest))
    padded[:, :cells] = spent
    padded[:, cells:] = spent[:, -1:]
    shape = labels, part + shortest, parts
    one = padded.itemsize
    windows = np.ndarray(shape, buffer=padded, strides=(padded.strides[0], one, part * one))
    return np.ascontiguousarray(windows)


def _decode(found: FloatArray, sums: FloatArray, change: float, shortest: int) -> None:
    """Fill in the headway of parts from their first `shortest` cells on, as many at a time.

    A change is decided that many cells before its stretch is complete, so within a block of them
    nothing depends on the block. A change to the same label only costs, and so does no harm.
    """
    for at in range(shortest, sums.shape[1], shortest):
        spent = sums[:, at - shortest : at]
        least = (found[:, at - shortest : at] + spent).min(axis=0)
        least += change
        fresh = np.subtract(least, spent, out=found[:, at : at + shortest])
        np.minimum(fresh[:, 0], found[:, at - 1], out=fresh[:, 0])
        near = 1
        while near < shortest:  # the least of 1, 2, 4, 8 … cells up to each
            np.minimum(fresh[:, near:], fresh[:, :-near], out=fresh[:, near:])
            near *= 2


def _trace_back(headway: FloatArray, spent: FloatArray, shortest: int) -> IntArray:
    total = headway + spent
    falls = [1 + np.flatnonzero(row[1:] < row[:-1]) for row in headway]
    result = np.empty(headway.shape[1], dtype=np.intp)
    end, label = len(result) - 1, int(total[:, -1].argmin())
    while latest := bisect_right(falls[label], end):
        before = int(falls[label][latest - 1]) - shortest
        result[before + 1 : end + 1] = label
        total[label, before] = np.inf  # a change is to another one
        end, label = before, int(total[:, before].argmin())
    result[: end + 1] = label
    return result
