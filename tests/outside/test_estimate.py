"""The solver against certified and published least-squares results."""

from __future__ import annotations

import io

import numpy as np
import pytest

from wherewatt.allocate.gauss_newton import Measurements, Solution, maximise_posterior
from wherewatt.arrays import FloatArray

# NIST Statistical Reference Datasets, linear regression, "Norris" (lower difficulty): y, x. Data
# from memory; they give back the certified sum of squares to 1e-9.
NORRIS = np.loadtxt(
    io.StringIO("""
    0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5
    668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0 559.2 558.2 0.3 0.4
    0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6
    557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3
    0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0
    10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
    """)
).reshape(-1, 2)

# JCGM 100:2008 (GUM), annex H.3: thermometer readings [°C] and corrections [°C]. Data from
# memory; they give back the published results to their printed digits.
GUM_H3_READING = [
    *(21.521, 22.012, 22.512, 23.003, 23.507, 23.999),
    *(24.513, 25.002, 25.503, 26.010, 26.511),
]
GUM_H3_CORRECTION = [
    *(-0.171, -0.169, -0.166, -0.159, -0.164, -0.165),
    *(-0.156, -0.157, -0.159, -0.161, -0.160),
]


def fit_line(
    x: FloatArray, y: FloatArray, sd: float, *, center: FloatArray, spread: FloatArray
) -> tuple[FloatArray, FloatArray, Solution]:
    """Fit y = b₀ + b₁·x with the package's solver: coefficients and their covariance.

    `center` and `spread` are the prior's; the solver's unknowns are (b − center)/spread.
    """
    design = np.column_stack([np.ones_like(x), x])

    def measure(scores: FloatArray) -> Measurements:
        return Measurements(
            residual=y - design @ (center + spread * scores),
            slopes=design * spread,
            sd=np.full(len(y), sd),
            dof=np.full(len(y), np.inf),
        )

    solution = maximise_posterior(measure, np.zeros(2), most_iterations=20, tolerance=1e-9)
    scale = np.diag(spread)
    return center + spread * solution.scores, scale @ solution.covariance @ scale, solution


def test_gaussian_maximum_a_posteriori() -> None:
    """Coast-down force a + c·v² at 10, 20, 30 km/h with a prior; closed form, information form."""
    square_speed = np.square(np.array([10.0, 20.0, 30.0]) / 3.6)
    force = np.array([14.5, 22.4, 37.9])
    mean, covariance, solution = fit_line(
        square_speed, force, 0.5, center=np.array([12.0, 0.35]), spread=np.array([3.0, 0.08])
    )
    sd = np.sqrt(np.diag(covariance))
    assert solution.converged
    assert mean == pytest.approx([11.243009, 0.38039451], abs=1e-6)
    assert sd == pytest.approx([0.490036, 0.01112585], abs=1e-6)
    assert covariance[0, 1] / (sd[0] * sd[1]) == pytest.approx(-0.810036, abs=1e-6)


def test_gaussian_with_a_flat_prior() -> None:
    """The same with nothing known before: 11.2 ± 0.5 N, and Crr and CdA of a 100 kg vehicle."""
    square_speed = np.square(np.array([10.0, 20.0, 30.0]) / 3.6)
    force = np.array([14.5, 22.4, 37.9])
    mean, covariance, _ = fit_line(
        square_speed, force, 0.5, center=np.zeros(2), spread=np.array([1e4, 1e3])
    )
    assert mean == pytest.approx([11.2, 0.38139429], abs=1e-6)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.5, 0.01133764], abs=1e-6)
    assert mean[0] / (100.0 * 9.80665) == pytest.approx(0.0114208, abs=1e-7)
    assert 2.0 * mean[1] / 1.225 == pytest.approx(0.6226845, abs=1e-6)


def test_norris() -> None:
    """NIST certified values, with a prior too wide to matter."""
    y, x = NORRIS.T
    deviation = 0.884796396144373  # certified residual standard deviation
    mean, covariance, _ = fit_line(x, y, deviation, center=np.zeros(2), spread=np.array([1e4, 1e2]))
    certified_sd = [0.232818234301152, 0.429796848199937e-3]
    assert len(y) == 36
    assert mean == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-6)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(certified_sd, rel=1e-6)
    assert covariance[0, 1] == pytest.approx(-7.74327536339570e-5, rel=1e-6)
    squares = np.sum(np.square(y - mean[0] - mean[1] * x))
    assert squares == pytest.approx(26.6173985294224, rel=1e-9)


def test_thermometer_of_the_gum() -> None:
    """GUM H.3: intercept and slope about 20 °C, their correlation, and the correction at 30 °C."""
    x, y = np.array(GUM_H3_READING) - 20.0, np.array(GUM_H3_CORRECTION)
    mean, covariance, _ = fit_line(
        x, y, 0.003498, center=np.zeros(2), spread=np.array([100.0, 100.0])
    )
    sd = np.sqrt(np.diag(covariance))
    assert mean == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert sd == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert covariance[0, 1] / (sd[0] * sd[1]) == pytest.approx(-0.930, abs=5e-4)
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ mean == pytest.approx(-0.1494, abs=5e-5)
    # Without the correlation this would be 0.0073.
    assert np.sqrt(at_30 @ covariance @ at_30) == pytest.approx(0.0041, abs=5e-5)
