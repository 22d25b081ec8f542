"""Smoothing along time against the same least squares solved by scipy, step by step."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import csc_array, diags_array
from scipy.sparse.linalg import spsolve

from wherewatt.arrays import FloatArray
from wherewatt.motion.smooth import Smoother

NOISE, BEND_SD = 2.0, 0.7  # invented


def solved_by_scipy(time_s: FloatArray, values: FloatArray, noise: FloatArray) -> FloatArray:
    """Penalised least squares on second divided differences, written out.

    Whittaker 1923, Proc. Edinburgh Math. Soc. 41:63; Eilers 2003, Anal. Chem. 75:3631; a bend is
    a change of slope over the mean of the steps around it, whose integral has that as variance.
    """
    n, step = len(time_s), np.diff(time_s)
    slopes = diags_array([-1.0 / step, 1.0 / step], offsets=[0, 1], shape=(n - 1, n))
    changes = diags_array([-1.0, 1.0], offsets=[0, 1], shape=(n - 2, n - 1))
    mean = (step[:-1] + step[1:]) / 2.0
    bends = diags_array(1.0 / (BEND_SD * np.sqrt(mean))) @ changes @ slopes
    weight = np.broadcast_to(1.0 / np.square(noise), n)
    return spsolve(csc_array(diags_array(weight) + bends.T @ bends), weight * values)


def steps_of(kind: str, rng: np.random.Generator) -> FloatArray:
    even = np.ones(1500)
    if kind == "with pauses":  # long even runs and short ones, and a run up to the end
        even[[3, 200, 205, 900, 901]] = [40.0, 2.0, 7.5, 0.5, 120.0]
    elif kind == "uneven":
        return rng.uniform(0.3, 4.0, 1500)
    elif kind == "few":
        return even[:3]
    return even


@pytest.mark.parametrize("kind", ["even", "with pauses", "uneven", "few"])
@pytest.mark.parametrize("guessed", [False, True])
def test_curves_are_the_least_squares_ones(kind: str, guessed: bool) -> None:
    """Where steps are even most of the factor is filled in, which must not be seen."""
    rng = np.random.default_rng(4)
    time_s = np.concatenate([[0.0], np.cumsum(steps_of(kind, rng))])
    values = np.cumsum(rng.normal(size=(2, len(time_s))), axis=1)
    noise = np.full(len(time_s), NOISE)
    if guessed:  # points that were filled in weigh less
        noise[rng.integers(0, len(noise), len(noise) // 100)] *= 10.0
    smooth = Smoother(time_s).smooth(values, noise if guessed else NOISE, bend_sd=BEND_SD)
    for curve, own in zip(smooth, values, strict=True):
        assert curve == pytest.approx(solved_by_scipy(time_s, own, noise), abs=1e-9)


def test_two_points_stay_as_they_are() -> None:
    values = np.array([[1.0, 5.0]])
    assert np.array_equal(Smoother(np.array([0.0, 1.0])).smooth(values, 1.0, bend_sd=1.0), values)
