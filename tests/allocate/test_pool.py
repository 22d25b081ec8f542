"""What several rides of one vehicle say together, against the same sums written out."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.allocate.factor import Factor
from wherewatt.allocate.parameters import Parameter, Parameters
from wherewatt.allocate.pool import at_temperature, known_for
from wherewatt.allocate.settings import Prior, PriorKind
from wherewatt.config import load_config

CONFIG = load_config()
CAPACITY = "battery_usable_wh"


def prior(center: float, spread: float, day_spread: float) -> Prior:
    return Prior(PriorKind.LOG, center, spread, "1", "", day_spread=day_spread)


def test_what_this_ride_has_not_keeps_its_handbook() -> None:
    """Wall energy tells capacity and charger in one: with the charger's prior it tells capacity.

    The variance of a sum of two independent logarithms (JCGM 100:2008, 5.1.2).
    """
    row = np.array([1.0, 1.0])
    wall = Factor(
        (CAPACITY, "charger_efficiency"), np.outer(row, row) / 0.01**2, row * 0.3 / 0.01**2
    )
    today = Parameters((Parameter(CAPACITY, prior(400.0, 0.05, 0.02)),))
    known = known_for(wall, today, {"charger_efficiency": prior(0.85, 0.04, 0.01)})
    assert known.names == (CAPACITY,)
    assert known.information[0, 0] ** -0.5 == pytest.approx(np.sqrt(0.04**2 + 0.01**2 + 0.02**2))
    assert known.vector[0] / known.information[0, 0] == pytest.approx(0.3 - np.log(0.85))


def said(name: str, value: float) -> Factor:
    return Factor((name,), np.array([[1e4]]), np.array([1e4 * value]))


def test_a_tyre_rolls_harder_when_it_is_colder() -> None:
    """0.8 % per degree (ISO 28580:2018, value from memory), half of which is doubt."""
    name = "rolling_resistance"
    colder = at_temperature(
        said(name, -4.3), 20.0, 10.0, stated=(), priors=CONFIG.priors, assumed=CONFIG.assumed
    )
    assert colder.vector[0] / colder.information[0, 0] == pytest.approx(-4.3 + 0.08)
    assert colder.information[0, 0] ** -0.5 == pytest.approx(np.hypot(0.01, 0.04))


@pytest.mark.parametrize(
    ("then_c", "now_c", "stated"),
    [(10.0, 10.0, ()), (None, CONFIG.assumed.handbook_c, ()), (20.0, 0.0, (CAPACITY,))],
)
def test_what_does_not_change(then_c: float | None, now_c: float, stated: tuple[str, ...]) -> None:
    factor = said(CAPACITY, 6.0)
    same = at_temperature(
        factor, then_c, now_c, stated=stated, priors=CONFIG.priors, assumed=CONFIG.assumed
    )
    assert np.array_equal(same.information, factor.information)
    assert np.array_equal(same.vector, factor.vector)


def test_there_and_back_is_where_it_was() -> None:
    there, back = ((25.0, 0.0), (0.0, 25.0))
    factor = said(CAPACITY, 6.0)
    for then_c, now_c in (there, back):
        factor = at_temperature(
            factor, then_c, now_c, stated=(), priors=CONFIG.priors, assumed=CONFIG.assumed
        )
    assert factor.vector[0] / factor.information[0, 0] == pytest.approx(6.0)
    assert factor.information[0, 0] < 1e4


def test_some_parameters_blurred() -> None:
    """The covariance grows by the steps' variance, where there is one."""
    rng = np.random.default_rng(2)
    root = rng.normal(0.0, 1.0, (3, 3))
    factor = Factor(("a", "b", "c"), root @ root.T, rng.normal(0.0, 1.0, 3))
    blurred = factor.blurred({"a": 0.3, "c": 0.5})
    covariance = np.linalg.inv(factor.information)
    assert np.linalg.inv(blurred.information) == pytest.approx(
        covariance + np.diag([0.09, 0.0, 0.25])
    )
    assert np.linalg.solve(blurred.information, blurred.vector) == pytest.approx(
        covariance @ factor.vector
    )
