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
    best = total[: shortest + 1].tolist()  # of a labelling whose last stretch is complete
    came_from = [[-1] * labels for _ in best]  # label before; −1: went on
    # Plain numbers: for so few labels an array costs more than what is done with it.
    steps, sums = cost.tolist(), total.tolist()
    for end in range(shortest + 1, cells + 1):
        start = end - shortest
        others = _cheapest_others(best[start])
        best.append([])
        came_from.append([])
        for label, other in enumerate(others):
            go_on = best[end - 1][label] + steps[end - 1][label]
            fresh = best[start][other] + change + sums[end][label] - sums[start][label]
            changed = fresh < go_on and other != label
            best[end].append(fresh if changed else go_on)
            came_from[end].append(other if changed else -1)
    return _trace_back(best, came_from, shortest)


def _cheapest_others(values: list[float]) -> list[int]:
    """For each label the cheapest other one; itself if there is no other."""
    order = sorted(range(len(values)), key=values.__getitem__)
    second = order[1 % len(order)]
    return [second if label == order[0] else order[0] for label in range(len(order))]


def _trace_back(best: list[list[float]], came_from: list[list[int]], shortest: int) -> IntArray:
    end = len(best) - 1
    label = int(np.argmin(best[end]))
    result = np.empty(end, dtype=np.intp)
    while end > 0:
        before = came_from[end][label]
        step = 1 if before < 0 else shortest
        result[end - step : end] = label
        end -= step
        label = label if before < 0 else before
    return result
