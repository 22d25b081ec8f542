"""Ascent and descent between turning points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as stn
from scipy.signal import find_peaks

from wherewatt.terrain.ascent import ascent_and_descent, climbing_legs, turning_points


def whole(height_m: np.ndarray, threshold_m: float = 2.0) -> tuple[float, float]:
    part = np.zeros(len(height_m) - 1, dtype=np.intp)
    up, down = ascent_and_descent(height_m, part, 1, threshold_m)
    return float(up[0]), float(down[0])


def test_by_hand() -> None:
    """Up 10, a dip of 1 that does not count, up 5 more, down 8."""
    height = np.array([0.0, 5.0, 10.0, 9.0, 14.0, 10.0, 6.0])
    assert turning_points(height, 2.0).tolist() == [0, 4, 6]
    assert whole(height) == (14.0, 8.0)
    assert whole(height, 0.5) == (15.0, 9.0)


def test_peaks_are_those_of_another_library() -> None:
    """Inner turning points downwards are the peaks of that prominence (scipy.signal)."""
    rng = np.random.default_rng(8)
    for _ in range(20):
        height = np.cumsum(rng.normal(0.0, 1.0, 500))
        turns = turning_points(height, 3.0)
        inner = turns[1:-1]
        tops = inner[height[inner] > height[turns[:-2]]]
        # Beyond the ends the ground falls away, so that prominence does not stop there.
        walled = np.concatenate([[-1e3], height, [-1e3]])
        peaks = find_peaks(walled, prominence=3.0)[0] - 1
        assert set(tops) <= set(peaks)
        assert all(peak <= turns[1] or peak >= turns[-2] for peak in set(peaks) - set(tops))


def test_neither_noise_nor_sampling_makes_it_grow() -> None:
    """Three hills of 40 m, recorded with 0.4 m of noise every 10 m and every metre."""
    rng = np.random.default_rng(1)
    for step in (10.0, 1.0):
        at = np.arange(0.0, 6000.0 + step, step)
        ground = 20.0 - 20.0 * np.cos(2.0 * np.pi * at / 2000.0)
        noisy = ground + rng.normal(0.0, 0.4, len(at))
        assert whole(noisy)[0] == pytest.approx(120.0, rel=0.15)
        assert np.sum(np.maximum(np.diff(noisy), 0.0)) > (150.0 if step == 10.0 else 1000.0)


def test_a_level_road_has_none() -> None:
    assert whole(np.zeros(50)) == (0.0, 0.0)
    assert whole(np.array([3.0, 3.0])) == (0.0, 0.0)


@given(
    stn.arrays(np.float64, st.integers(2, 80), elements=st.floats(-500.0, 500.0, width=32)),
    st.floats(0.1, 50.0),
    st.integers(1, 6),
)
def test_parts_add_up_to_the_rise(height: np.ndarray, threshold_m: float, parts: int) -> None:
    legs = len(height) - 1
    part = np.sort(np.arange(legs) % parts)
    up, down = ascent_and_descent(height, part, parts, threshold_m)
    assert np.all(up >= 0.0)
    assert np.all(down >= 0.0)
    rise = np.bincount(part, weights=np.diff(height), minlength=parts)
    assert up - down == pytest.approx(rise, abs=1e-9)
    turns = turning_points(height, threshold_m)
    assert np.all(np.diff(turns) > 0)
    inner = np.abs(np.diff(height[turns]))[1:-1]
    assert np.all(inner >= threshold_m - 1e-9)
    assert len(climbing_legs(height, threshold_m)) == legs
