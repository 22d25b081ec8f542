"""The solver's arithmetic against certified solutions of ill-conditioned least squares.

NIST Statistical Reference Datasets, linear regression: Longley (higher difficulty) and Wampler 1
and 2; Norris is in test_estimate.py. The solver takes Cholesky's way through the normal
equations, which square the condition number; yet each of its steps starts from the true residuals
and so refines the last one. Like its scores, the unknowns are scaled to what is known of them.
"""

from __future__ import annotations

import io

import numpy as np
import pytest

from wherewatt.allocate.gauss_newton import Measurements, Solution, maximise_posterior
from wherewatt.arrays import FloatArray

# Longley (1967), J. Am. Stat. Assoc. 62:819: employment; price deflator, gross national product,
# unemployed, armed forces, population, year. As in statsmodels 0.15, whose fit has the certified
# values to ten digits.
LONGLEY = np.loadtxt(
    io.StringIO("""
    60323  83.0 234289 2356 1590 107608 1947
    61122  88.5 259426 2325 1456 108632 1948
    60171  88.2 258054 3682 1616 109773 1949
    61187  89.5 284599 3351 1650 110929 1950
    63221  96.2 328975 2099 3099 112075 1951
    63639  98.1 346999 1932 3594 113270 1952
    64989  99.0 365385 1870 3547 115094 1953
    63761 100.0 363112 3578 3350 116219 1954
    66019 101.2 397469 2904 3048 117388 1955
    67857 104.6 419180 2822 2857 118734 1956
    68169 108.4 442769 2936 2798 120445 1957
    66513 110.8 444546 4681 2637 121950 1958
    68655 112.6 482704 3813 2552 123366 1959
    69564 114.2 502601 3931 2514 125368 1960
    69331 115.7 518173 4806 2572 127852 1961
    70551 116.9 554894 4007 2827 130081 1962
    """)
)
# Certified by NIST; from memory, and the fit of statsmodels agrees.
LONGLEY_MEAN = np.array(
    [
        *(-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683),
        *(-1.03322686717359, -0.0511041056535807, 1829.15146461355),
    ]
)
LONGLEY_SD = np.array(
    [
        *(890420.383607373, 84.9149257747669, 0.0334910077722432, 0.488399681651699),
        *(0.214274163161675, 0.226073200069370, 455.478499142212),
    ]
)
LONGLEY_RSD = 304.854073561965


def solve(
    design: FloatArray, y: FloatArray, sd: float, *, spread: FloatArray
) -> tuple[FloatArray, FloatArray, Solution]:
    """Coefficients and their covariance by the package's solver, its prior around zero."""

    def measure(scores: FloatArray) -> Measurements:
        return Measurements(
            residual=y - design @ (spread * scores),
            slopes=design * spread,
            sd=np.full(len(y), sd),
            dof=np.full(len(y), np.inf),
        )

    solution = maximise_posterior(
        measure, np.zeros(design.shape[1]), most_iterations=20, tolerance=1e-12
    )
    return spread * solution.scores, solution.covariance * np.outer(spread, spread), solution


def longley() -> tuple[FloatArray, FloatArray]:
    return np.column_stack([np.ones(len(LONGLEY)), LONGLEY[:, 1:]]), LONGLEY[:, 0]


def test_longley() -> None:
    """Condition number 5e9: nine digits of the coefficients, six of their deviations."""
    design, y = longley()
    assert np.linalg.cond(design) > 1e9
    mean, covariance, solution = solve(design, y, LONGLEY_RSD, spread=1e6 * LONGLEY_SD)
    assert solution.converged
    assert mean == pytest.approx(LONGLEY_MEAN, rel=1e-9)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(LONGLEY_SD, rel=1e-6)
    squares = np.sum(np.square(y - design @ mean))
    assert np.sqrt(squares / (16 - 7)) == pytest.approx(LONGLEY_RSD, rel=1e-9)


def test_longley_with_a_prior() -> None:
    """A prior as wide as the fit, against the same by QR: the prior as seven more readings."""
    design, y = longley()
    stacked = np.vstack([design / LONGLEY_RSD, np.diag(1.0 / LONGLEY_SD)])
    wanted = np.linalg.lstsq(stacked, np.concatenate([y / LONGLEY_RSD, np.zeros(7)]))[0]
    mean, covariance, _ = solve(design, y, LONGLEY_RSD, spread=LONGLEY_SD)
    assert mean == pytest.approx(wanted, rel=1e-6)
    r = np.linalg.qr(stacked, mode="r")
    inverse = np.linalg.inv(r)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(np.linalg.norm(inverse, axis=1), rel=1e-6)


@pytest.mark.parametrize("base", [1.0, 0.1])
def test_wampler(base: float) -> None:
    """Wampler 1 and 2: a polynomial of degree 5 at 0, 1 … 20, whose coefficients are 1 or 10⁻ⁿ."""
    x = np.arange(21.0)
    design = np.vander(x, 6, increasing=True)
    certified = base ** np.arange(6)
    mean, _, solution = solve(design, design @ certified, 1e-6, spread=10.0 * certified)
    assert solution.converged
    assert mean == pytest.approx(certified, rel=1e-8)
