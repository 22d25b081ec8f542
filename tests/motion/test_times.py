"""Times that strictly increase."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.motion.times import increasing


@pytest.mark.parametrize(
    ("times", "kept"),
    [
        ([0, 1, 2, 3], [0, 1, 2, 3]),
        ([0, 1, 1, 2], [0, 1, 3]),
        ([0, 1, 90, 2, 3], [0, 1, 3, 4]),
        ([5, 6, 0, 7, 8], [0, 1, 3, 4]),
        ([100, 0, 1, 2], [1, 2, 3]),
        ([3], [0]),
    ],
)
def test_one_clock_error_costs_one_point(times: list[float], kept: list[int]) -> None:
    assert increasing(np.array(times, dtype=float)).tolist() == kept
