"""The solver: straight to a linear answer, robust to outliers, honest about not arriving."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.allocate.gauss_newton import Measurements, maximise_posterior
from wherewatt.arrays import FloatArray
from wherewatt.errors import EstimateError


def direct(readings: FloatArray, sd: float, dof: float) -> object:
    """Measurements of one unknown itself."""

    def measure(scores: FloatArray) -> Measurements:
        n = len(readings)
        return Measurements(readings - scores[0], np.ones((n, 1)), np.full(n, sd), np.full(n, dof))

    return measure


def solve(measure: object, unknowns: int = 1, most_iterations: int = 60) -> object:
    return maximise_posterior(
        measure,  # type: ignore[arg-type]
        np.zeros(unknowns),
        most_iterations=most_iterations,
        tolerance=1e-8,
    )


def test_nothing_measured_is_the_prior() -> None:
    solution = solve(direct(np.empty(0), 1.0, np.inf))
    assert solution.converged
    assert solution.scores.tolist() == [0.0]
    assert solution.covariance.tolist() == [[1.0]]


def test_normal_errors_average() -> None:
    solution = solve(direct(np.array([0.8, 1.2, 1.0]), 0.1, np.inf))
    assert solution.scores[0] == pytest.approx(1.0 * 300.0 / 301.0)
    assert solution.covariance[0, 0] == pytest.approx(1.0 / 301.0)


@pytest.mark.parametrize("wild", [5.0, 50.0, 5000.0])
def test_heavy_tails_shrug_off_an_outlier(wild: float) -> None:
    readings = np.array([0.9, 1.0, 1.1, 0.95, 1.05, wild])
    solution = solve(direct(readings, 0.1, 4.0))
    assert solution.converged
    assert solution.scores[0] == pytest.approx(1.0, abs=0.05)


def test_weight_is_small_for_outliers_only() -> None:
    residual = np.array([0.0, 1.0, 20.0, 20.0])
    measurements = Measurements(
        residual, np.ones((4, 1)), np.ones(4), np.array([4.0, 4.0, 4.0, np.inf])
    )
    assert measurements.weight == pytest.approx([1.25, 1.0, 5.0 / 404.0, 1.0])


def test_curved_problem() -> None:
    """exp(x) measured: the answer is where the gradient of the posterior vanishes."""
    measured, sd = 3.0, 0.05

    def measure(scores: FloatArray) -> Measurements:
        predicted = np.exp(scores)
        return Measurements(
            measured - predicted, predicted[:, None], np.array([sd]), np.array([np.inf])
        )

    solution = solve(measure)
    x = solution.scores[0]
    assert solution.converged
    assert (measured - np.exp(x)) * np.exp(x) / sd**2 - x == pytest.approx(0.0, abs=1e-4)
    assert solution.covariance[0, 0] == pytest.approx(1.0 / (1.0 + (np.exp(x) / sd) ** 2))


def test_too_few_iterations_are_told() -> None:
    readings = np.array([0.9, 1.0, 1.1, 30.0])
    solution = solve(direct(readings, 0.1, 4.0), most_iterations=1)
    assert not solution.converged
    assert solution.iterations == 1


@pytest.mark.parametrize("dof", [4.0, np.inf])
def test_numbers_that_are_none_are_told(dof: float) -> None:
    with pytest.raises(EstimateError, match="no finite numbers"):
        solve(direct(np.array([1.0, np.nan]), 0.1, dof))


def test_a_search_that_starts_among_outliers_steps_down_at_once() -> None:
    """Far off, the true curvature of heavy tails is of no use; the weights' is (Lange 1989)."""
    readings = np.array([9.0, 9.2, 9.1, 8.9, 9.05])
    solution = solve(direct(readings, 0.1, 4.0), most_iterations=12)
    assert solution.converged
    assert solution.scores[0] == pytest.approx(9.05, abs=0.1)


def test_unknowns_that_nothing_informs_keep_their_prior() -> None:
    def measure(scores: FloatArray) -> Measurements:
        return Measurements(
            np.array([2.0 - scores[1]]),
            np.array([[0.0, 1.0, 0.0]]),
            np.array([0.5]),
            np.array([np.inf]),
        )

    solution = solve(measure, unknowns=3)
    assert solution.scores == pytest.approx([0.0, 1.6, 0.0])
    assert np.diag(solution.covariance) == pytest.approx([1.0, 0.2, 1.0])
