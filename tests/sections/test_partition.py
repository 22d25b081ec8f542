"""The best labels of long rides against the same programme cell by cell; brute force, of short
ones, is in tests/property/test_optimal.py."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.arrays import FloatArray
from wherewatt.sections.partition import best_labels


def cell_by_cell(cost: FloatArray, change: float, shortest: int) -> list[int]:
    """The programme as it is defined: after each cell, the best labelling that ends in a label."""
    cells, labels = cost.shape
    spent = np.concatenate([np.zeros((1, labels)), np.cumsum(cost, axis=0)])
    shortest = min(shortest, cells)
    best = [row.tolist() for row in spent[: shortest + 1]]
    before: list[list[int | None]] = [[None] * labels for _ in best]
    for end in range(shortest + 1, cells + 1):
        start = end - shortest
        best.append([best[end - 1][label] + cost[end - 1, label] for label in range(labels)])
        before.append([None] * labels)
        for label in range(labels):
            others = [other for other in range(labels) if other != label]
            other = min(others, key=best[start].__getitem__, default=label)
            fresh = best[start][other] + change + spent[end, label] - spent[start, label]
            if other != label and fresh < best[end][label]:
                best[end][label], before[end][label] = fresh, other
    end, label = cells, int(np.argmin(best[-1]))
    found = [0] * cells
    while end > 0:
        step = 1 if before[end][label] is None else shortest
        found[end - step : end] = [label] * step
        end, label = end - step, before[end][label] or 0 if step > 1 else label
    return found


def random_cost(rng: np.random.Generator, cells: int, labels: int) -> FloatArray:
    """Costs in whole numbers, so that many cuts are equally good; slow ups and downs and noise."""
    slow = np.repeat(rng.integers(-2, 3, (cells // 30 + 1, labels)), 30, axis=0)[:cells]
    return (slow + rng.integers(-2, 3, (cells, labels))).astype(float)


@pytest.mark.parametrize("seed", range(40))
def test_labels_are_those_of_the_plain_programme(seed: int) -> None:
    """The very same, ties included: whole numbers add up exactly in any order."""
    rng = np.random.default_rng(seed)
    cells, labels = int(rng.integers(1, 1500)), int(rng.integers(2, 5))
    cost, shortest = random_cost(rng, cells, labels), int(rng.integers(2, 60))
    change = float(rng.integers(0, 40))
    found = best_labels(cost, change=change, shortest=shortest)
    assert found.tolist() == cell_by_cell(cost, change, shortest)


def test_parts_that_say_nothing_are_decided_from_afar() -> None:
    """Labels of equal cost over many parts: what holds is what the ends say."""
    cost = np.zeros((3000, 2))
    cost[[0, -1], 1] = 10.0
    assert not best_labels(cost, change=5.0, shortest=10).any()
    cost[-1] = [50.0, 0.0]
    labels = best_labels(cost, change=5.0, shortest=10)
    assert labels[0] == 0
    assert labels[-1] == 1
    assert np.sum(np.diff(labels) != 0) == 1


def test_rounding_moves_nothing() -> None:
    """A stretch as short as may be slides between its ends at no cost: always to the same place."""
    cost = np.tile([0.0035, 0.022], (600, 1))
    cost[[200, 210], 0] += 5.0
    cost[[200, 210], 1] += 3.0
    found = best_labels(cost, change=0.915, shortest=30)
    assert np.sum(found) == 30
    for scale in 1.0 + 1e-13 * np.arange(1, 40):
        again = best_labels(scale * cost, change=0.915, shortest=30)
        assert again.tolist() == found.tolist()
