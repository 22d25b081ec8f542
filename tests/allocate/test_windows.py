"""Mean power before moments of a ride."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.allocate.windows import Windows

TIME_S = np.array([0.0, 1.0, 3.0, 4.0, 9.0, 30.0, 31.0])
LEG_J = np.array([10.0, 40.0, -5.0, 200.0, 0.0, 70.0])


@pytest.mark.parametrize("length_s", [0.5, 2.0, 15.0, 60.0])
def test_power_is_that_of_the_energy_counter(length_s: float) -> None:
    """The fall of the counter over the window, by numpy.interp."""
    at_s = np.array([0.0, 0.25, 2.0, 3.0, 8.0, 9.0, 30.5, 31.0])
    counter = np.concatenate([[0.0], np.cumsum(LEG_J)])
    start_s = np.maximum(at_s - length_s, 0.0)
    spent = np.interp(at_s, TIME_S, counter) - np.interp(start_s, TIME_S, counter)
    windows = Windows.before(at_s, np.full(len(at_s), length_s), TIME_S)
    expected = spent / np.maximum(at_s - start_s, 1.0)
    assert windows.power_w(LEG_J) == pytest.approx(expected, abs=1e-12)


def test_in_any_order_and_overlapping() -> None:
    at_s, length_s = np.array([30.0, 4.0, 31.0, 4.0]), np.array([25.0, 3.0, 30.0, 1.0])
    each = [
        Windows.before(at_s[[one]], length_s[[one]], TIME_S).power_w(LEG_J)[0]
        for one in range(len(at_s))
    ]
    assert Windows.before(at_s, length_s, TIME_S).power_w(LEG_J) == pytest.approx(each, abs=1e-12)


def test_none() -> None:
    nothing = np.zeros(0)
    assert len(Windows.before(nothing, nothing, TIME_S).power_w(LEG_J)) == 0
