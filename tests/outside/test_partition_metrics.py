"""Covering and margin F1 against the worked cases of their authors and an independent library.

Values: the examples in the documentation strings of the public benchmark that van den Burg and
Williams (2020, arXiv:2003.06222) published with their paper (analysis/scripts/metrics.py of
alan-turing-institute/TCPDBench), read and implemented anew when the references were gathered.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.partition_metrics import changes_of, covering, f_measure


@pytest.mark.parametrize(
    ("annotations", "predicted", "value"),
    [
        ([[10, 20], [11, 20], [10], [0, 5]], [10, 20], 1.0),
        ([[], [10], [50]], [10], 0.9090909090909091),
        ([[], [10], [50]], [], 0.8),
    ],
)
def test_f_measure_of_the_authors(
    annotations: list[list[float]], predicted: list[float], value: float
) -> None:
    assert f_measure(annotations, predicted) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("annotations", "predicted", "value"),
    [
        ([[10, 20], [10], [0, 5]], [10, 20], 0.7962962962962963),
        ([[], [10], [40]], [10], 0.7954144620811286),
        ([[], [10], [40]], [], 0.8189300411522634),
    ],
)
def test_covering_of_the_authors(
    annotations: list[list[float]], predicted: list[float], value: float
) -> None:
    assert covering(annotations, predicted, 45) == pytest.approx(value, rel=1e-14)


def test_a_case_worked_by_hand() -> None:
    """Changes at 100, 250, 400 of 600 against 103, 260, 405, 500.

    With a margin of 5 (inclusive) 103 and 405 are right, so precision is 3 of 5 and recall 3 of
    4 with the start; with 10 also 260. The stretches' best Jaccard indices are 100/103, 147/160,
    140/155 and 100/200.
    """
    true, found = [[100, 250, 400]], [103, 260, 405, 500]
    assert f_measure(true, found, margin=5) == pytest.approx(2.0 / 3.0, rel=1e-12)
    assert f_measure(true, found, margin=10) == pytest.approx(0.8888888888888889, rel=1e-12)
    by_hand = (100 * 100 / 103 + 150 * 147 / 160 + 150 * 140 / 155 + 200 * 100 / 200) / 600
    assert covering(true, found, 600) == pytest.approx(by_hand, rel=1e-12)
    assert covering(true, found, 600) == pytest.approx(0.7839729160, abs=1e-10)


def test_covering_needs_no_whole_numbers() -> None:
    assert covering([[12.5, 30.0]], [30.0, 12.5], 47.25) == 1.0
    assert covering([[125.0, 300.0]], [130.0], 472.5) == pytest.approx(
        covering([[12.5, 30.0]], [13.0], 47.25), rel=1e-12
    )


def test_one_prediction_serves_one_change() -> None:
    """Two changes close together and one prediction between them: one of them is missed."""
    assert f_measure([[100, 104]], [102]) == pytest.approx(2 * 1.0 * (2 / 3) / (1.0 + 2 / 3))


def test_changes_where_labels_change() -> None:
    edges = np.array([0.0, 10.0, 20.0, 35.0])
    assert changes_of(["flat", "flat", "climb"], edges) == [20.0]
    assert changes_of(["flat"], edges[:2]) == []
