"""Dynamic programmes against brute force."""

from __future__ import annotations

from itertools import combinations, groupby, pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.property.strategies import QUICK
from wherewatt.arrays import FloatArray
from wherewatt.motion.times import increasing
from wherewatt.sections.partition import best_labels


def is_legal(labels: tuple[int, ...], shortest: int) -> bool:
    """Every stretch but the first has at least `shortest` cells."""
    lengths = [len(list(stretch)) for _, stretch in groupby(labels)]
    return all(length >= shortest for length in lengths[1:])


def cost_of(labels: tuple[int, ...], cost: FloatArray, change: float) -> float:
    changes = sum(before != after for before, after in pairwise(labels))
    return float(cost[np.arange(len(labels)), labels].sum()) + change * changes


@settings(QUICK, max_examples=60)
@given(
    st.integers(1, 8),
    st.integers(1, 3),
    st.integers(1, 3),
    st.floats(0.0, 3.0),
    st.integers(0, 999),
)
def test_best_labels(cells: int, labels: int, shortest: int, change: float, seed: int) -> None:
    cost = np.random.default_rng(seed).normal(0.0, 1.0, (cells, labels))
    found = tuple(best_labels(cost, change=change, shortest=shortest).tolist())
    assert is_legal(found, shortest)
    best = min(
        cost_of(candidate, cost, change)
        for candidate in product(range(labels), repeat=cells)
        if is_legal(candidate, shortest)
    )
    assert cost_of(found, cost, change) == pytest.approx(best, abs=1e-9)


@QUICK
@given(st.lists(st.integers(0, 9), min_size=1, max_size=9))
def test_increasing(times: list[int]) -> None:
    """Strictly increasing, and as many points as can be."""
    values = np.array(times, dtype=float)
    kept = increasing(values)
    assert np.all(np.diff(kept) > 0)
    assert np.all(np.diff(values[kept]) > 0)
    longest = max(
        size
        for size in range(1, len(times) + 1)
        for choice in combinations(times, size)
        if all(before < after for before, after in pairwise(choice))
    )
    assert len(kept) == longest
