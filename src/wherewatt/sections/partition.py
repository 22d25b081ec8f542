"""The best cut of a ride into labelled stretches, over the whole ride at once."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray, IntArray


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
    (k,) label of each cell.
    """
    cells, labels = cost.shape
    shortest = max(1, min(shortest, cells))
    total = np.concatenate([np.zeros((1, labels)), np.cumsum(cost, axis=0)])
    best = np.full((cells + 1, labels), np.inf)  # of a labelling whose last stretch is complete
    came_from = np.full((cells + 1, labels), -1, dtype=np.intp)  # label before; −1: went on
    best[: shortest + 1] = total[: shortest + 1]
    for end in range(shortest + 1, cells + 1):
        go_on = best[end - 1] + cost[end - 1]
        start = end - shortest
        order = np.argsort(best[start])
        # The cheapest other label before a new stretch.
        other = np.where(np.arange(labels) == order[0], order[1 % labels], order[0])
        fresh = best[start, other] + change + total[end] - total[start]
        changed = fresh < go_on if labels > 1 else np.zeros(labels, dtype=bool)
        best[end] = np.where(changed, fresh, go_on)
        came_from[end] = np.where(changed, other, -1)
    return _trace_back(best, came_from, shortest)


def _trace_back(best: FloatArray, came_from: IntArray, shortest: int) -> IntArray:
    end = len(best) - 1
    label = int(np.argmin(best[end]))
    result = np.empty(end, dtype=np.intp)
    while end > 0:
        before = int(came_from[end, label])
        step = 1 if before < 0 else shortest
        result[end - step : end] = label
        end -= step
        label = label if before < 0 else before
    return result
