"""Runs of cells: what two of them have in common."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.allocate.runs import Runs, add_stretches, pairs, through_sections

# Nine cells: stretches end within sections, and a stretch comes back, as a logger's may.
STRETCH = np.array([0, 0, 1, 1, 3, 1, 2, 2, 4])
SECTION = np.array([0, 0, 0, 1, 1, 2, 2, 3, 3])
VALUES = np.array([1.0, 2.0, -1.0, 0.5, 3.0, 4.0, -2.0, 1.5, 0.25])
BY_CALL_OUT = Runs(np.array([0, 2, 2, 6]), np.array([2, 2, 6, 9]), STRETCH, SECTION)
BY_SECTION = Runs(np.array([0, 3, 5, 7]), np.array([3, 5, 7, 9]), STRETCH, SECTION)
WHOLE = Runs(np.array([0]), np.array([9]), STRETCH, SECTION)


def members(runs: Runs) -> np.ndarray:
    """(g, c) one where a cell belongs to a run."""
    cell = np.arange(len(STRETCH))
    return ((cell >= runs.first[:, None]) & (cell < runs.end[:, None])).astype(float)


def test_sums() -> None:
    for runs in (BY_CALL_OUT, BY_SECTION, WHOLE):
        assert runs.sums(VALUES) == pytest.approx(members(runs) @ VALUES)


def test_pairs() -> None:
    one, other = pairs(np.array([2, 0, 2]), np.array([0, 2, 1, 2]))
    assert list(zip(one.tolist(), other.tolist(), strict=True)) == [
        (0, 1),
        (0, 3),
        (1, 0),
        (2, 1),
        (2, 3),
    ]


@pytest.mark.parametrize("one", [BY_CALL_OUT, BY_SECTION, WHOLE])
@pytest.mark.parametrize("other", [BY_CALL_OUT, BY_SECTION, WHOLE])
def test_covariance_of_sums(one: Runs, other: Runs) -> None:
    """Sums of independent stretches, and of correlated sections, written out as matrices."""
    of_stretch = VALUES[:, None] * (STRETCH[:, None] == np.arange(5))
    expected = members(one) @ of_stretch @ of_stretch.T @ members(other).T
    found = np.zeros((len(one), len(other)))
    add_stretches(found, one, other, VALUES)
    assert found == pytest.approx(expected, abs=1e-12)
    root = np.random.default_rng(1).normal(0.0, 1.0, (4, 4))
    of_section = VALUES[:, None] * (SECTION[:, None] == np.arange(4)) @ root
    expected = members(one) @ of_section @ of_section.T @ members(other).T
    found = through_sections(one, other, VALUES, root @ root.T)
    assert found == pytest.approx(expected, abs=1e-12)
