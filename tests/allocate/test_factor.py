"""Gaussian factors: their product, their marginals, their steps."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from wherewatt.allocate.factor import Factor, combined


def random_factor(names: tuple[str, ...], seed: int, rank: int | None = None) -> Factor:
    rng = np.random.default_rng(seed)
    root = rng.normal(0.0, 1.0, (rank or len(names), len(names)))
    information = root.T @ root
    return Factor(names, information, information @ rng.normal(0.0, 1.0, len(names)))


def test_product_of_a_published_regression() -> None:
    """Three coast-down forces as three factors and a prior as a fourth.

    F = a + c·v² at 10, 20 and 30 km/h: 14.5, 22.4, 37.9 N, sd 0.5 N; prior a 12 ± 3, c 0.35 ± 0.08.
    Posterior a 11.243009 ± 0.490036, c 0.38039451 ± 0.01112585, correlation −0.810036: worked in
    closed form in both information and gain form (linear Gaussian, Tarantola 2005, ch. 3).
    """
    names = ("a", "c")
    factors = [Factor(names, np.diag([3.0**-2, 0.08**-2]), np.array([12.0 / 9.0, 0.35 / 0.08**2]))]
    for speed_kmh, force in ((10.0, 14.5), (20.0, 22.4), (30.0, 37.9)):
        row = np.array([1.0, (speed_kmh / 3.6) ** 2])
        factors.append(Factor(names, np.outer(row, row) / 0.25, row * force / 0.25))
    for order in itertools.permutations(factors):
        product = combined(order)
        covariance = np.linalg.inv(product.information)
        mean = covariance @ product.vector
        sd = np.sqrt(np.diag(covariance))
        assert mean == pytest.approx([11.243009, 0.38039451], abs=1e-6)
        assert sd == pytest.approx([0.490036, 0.01112585], abs=1e-6)
        assert covariance[0, 1] / sd.prod() == pytest.approx(-0.810036, abs=1e-6)


def test_a_factor_left_out_leaves_no_trace() -> None:
    names = ("x", "y", "z")
    factors = [random_factor(names, seed) for seed in range(4)]
    without = combined([factors[0], factors[1], factors[3]])
    again = combined([factors[0], factors[1], factors[3]])
    assert np.array_equal(without.information, again.information)
    rest = combined(factors).information - factors[2].information
    assert rest == pytest.approx(without.information, abs=1e-12)


def test_product_over_different_parameters() -> None:
    one, other = random_factor(("x", "y"), 1), random_factor(("y", "z"), 2)
    product = combined([one, other])
    assert product.names == ("x", "y", "z")
    assert product.information[0, 2] == 0.0
    assert product.information[1, 1] == one.information[1, 1] + other.information[0, 0]


def test_others_are_integrated_out() -> None:
    """The marginal of a normal distribution has the block of the covariance."""
    factor = random_factor(("w", "x", "y", "z"), 5)
    covariance = np.linalg.inv(factor.information)
    mean = covariance @ factor.vector
    kept = factor.among(["z", "x", "unknown"])
    assert kept.names == ("x", "z")
    assert np.linalg.inv(kept.information) == pytest.approx(covariance[np.ix_([1, 3], [1, 3])])
    assert np.linalg.solve(kept.information, kept.vector) == pytest.approx(mean[[1, 3]])


def test_a_step_adds_its_variance() -> None:
    factor = random_factor(("x", "y"), 7)
    stepped = factor.blurred({"x": 0.5, "y": 2.0})
    covariance = np.linalg.inv(factor.information) + np.diag([0.25, 4.0])
    assert np.linalg.inv(stepped.information) == pytest.approx(covariance)
    before = np.linalg.solve(factor.information, factor.vector)
    assert np.linalg.solve(stepped.information, stepped.vector) == pytest.approx(before)


def test_what_is_not_known_stays_unknown() -> None:
    """A factor of one combination only: no step makes it know more, and rows keep its rank."""
    factor = random_factor(("x", "y", "z"), 9, rank=1)
    stepped = factor.blurred(dict.fromkeys("xyz", 0.1))
    assert np.all(np.linalg.eigvalsh(factor.information - stepped.information) > -1e-9)
    rows, values = factor.as_rows()
    assert rows.shape == (1, 3)
    assert rows.T @ rows == pytest.approx(factor.information)
    assert rows.T @ values == pytest.approx(factor.vector)
