"""Lines between positions of which some are left out."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.motion.fixes import Positions, sums_between


@pytest.mark.parametrize("share_left_out", [0.0, 0.01, 0.1, 0.9])
def test_lines_past_what_is_left_out_are_measured_anew(share_left_out: float) -> None:
    rng = np.random.default_rng(3)
    time = np.arange(500.0)
    place = 46.0 + np.cumsum(rng.normal(0.0, 1e-4, (2, 500)), axis=1)
    kept = np.flatnonzero(rng.random(500) >= share_left_out)
    some = Positions.of(time, place[0], place[1]).at(kept)
    anew = Positions.of(time[kept], place[0][kept], place[1][kept])
    assert some.time_s.tolist() == anew.time_s.tolist()
    for one, other in zip(some.legs.columns, anew.legs.columns, strict=True):
        assert one.tolist() == other.tolist()
    assert some.step_m.tolist() == anew.step_m.tolist()


def test_sums_between_points() -> None:
    legs = np.array([1.0, 2.0, 4.0, 8.0])
    assert sums_between(legs, np.array([0, 1, 4])).tolist() == [1.0, 14.0]
