"""Several rides of one vehicle as Gaussian factors, against the same sum written out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from wherewatt.allocate.factor import Factor
from wherewatt.allocate.parameters import Parameter, Parameters
from wherewatt.allocate.pool import DAY, Pooled, known_for, pooled
from wherewatt.allocate.settings import Prior, PriorKind
from wherewatt.arrays import FloatArray

NAMES = ("rolling_resistance", "battery_usable_wh")
READING_SD = 0.02


def parameter(name: str, spread: float, day_spread: float | None) -> Parameter:
    return Parameter(name, Prior(PriorKind.LOG, 1.0, spread, "1", "", day_spread=day_spread))


PARAMETERS = Parameters(
    (
        parameter(NAMES[0], 0.3, 0.06),
        parameter(DAY, 0.05, None),
        parameter(NAMES[1], 0.05, 0.02),
        parameter("wind_east_m_s", 1.0, None),
    )
)


def ride(row: FloatArray, reading: float) -> Factor:
    """A ride that measured row · (rolling, capacity, day), as logarithms, with READING_SD."""
    information = np.outer(row, row) / READING_SD**2
    return Factor((*NAMES, DAY), information, row * reading / READING_SD**2)


def rides(day_spread: float, count: int, seed: int) -> list[tuple[FloatArray, float]]:
    """Rides with known energy, half of it rolling, on a vehicle drawn from its prior."""
    rng = np.random.default_rng(seed)
    vehicle = rng.normal(0.0, [0.3, 0.05])
    made = []
    for _ in range(count):
        row = np.array([rng.uniform(0.2, 0.8), rng.choice([0.0, -1.0]), 1.0])
        truth = row[:2] @ vehicle + rng.normal(0.0, day_spread)
        made.append((row, float(truth + rng.normal(0.0, READING_SD))))
    return made


def known(made: list[tuple[FloatArray, float]]) -> Pooled:
    return pooled([ride(row, reading) for row, reading in made], PARAMETERS, {})


@pytest.mark.parametrize("day_spread", [0.02, 0.1, 0.4])
def test_spread_between_days_is_found(day_spread: float) -> None:
    found = [known(rides(day_spread, 40, seed)).day_spread for seed in range(8)]
    assert np.exp(np.mean(np.log(found))) == pytest.approx(day_spread, rel=0.25)


def test_one_ride_leaves_the_spread_to_the_handbook() -> None:
    assert known(rides(0.05, 1, 3)).day_spread == pytest.approx(0.05, rel=0.3)


def test_the_most_probable_spread_is_that_of_the_readings_written_out() -> None:
    """Readings are jointly normal; their density by scipy has the same best spread."""
    made = rides(0.2, 6, 5)
    rows, readings = np.array([row[:2] for row, _ in made]), np.array([r for _, r in made])
    of_vehicle = rows @ np.diag([0.3**2, 0.05**2]) @ rows.T
    spreads = np.geomspace(0.02, 0.8, 30)

    def chance(spread: float) -> float:
        covariance = of_vehicle + np.eye(len(made)) * (spread**2 + READING_SD**2)
        prior = -0.5 * (np.log(spread / 0.05) / 0.8) ** 2
        return float(multivariate_normal.logpdf(readings, cov=covariance)) + prior

    best = spreads[int(np.argmax([chance(spread) for spread in spreads]))]
    assert known(made).day_spread == pytest.approx(best, rel=1e-12)


def test_the_vehicle_is_that_of_the_readings_written_out() -> None:
    """Least squares with the days' spread in the errors (Tarantola 2005, section 1.5)."""
    made = rides(0.2, 6, 5)
    together = known(made)
    rows, readings = np.array([row[:2] for row, _ in made]), np.array([r for _, r in made])
    error = together.day_spread**2 + READING_SD**2
    assert together.factor.names == tuple(sorted(NAMES))
    swapped = rows[:, [NAMES.index(name) for name in together.factor.names]]
    assert together.factor.information == pytest.approx(swapped.T @ swapped / error)
    assert together.factor.vector == pytest.approx(swapped.T @ readings / error)


def test_order_does_not_matter_and_leaving_out_leaves_no_trace() -> None:
    made = rides(0.1, 5, 7)
    assert known(made[::-1]).day_spread == known(made).day_spread
    assert known(made[::-1]).factor.information == pytest.approx(known(made).factor.information)


def test_rides_that_say_nothing_of_their_day_can_be_used() -> None:
    made = [Factor(NAMES, np.eye(2), np.zeros(2))]
    assert pooled(made, PARAMETERS, {}).rides == 1


def test_another_day_differs_by_its_own_steps() -> None:
    together = known(rides(0.1, 5, 7))
    factor, parameters = known_for(together, PARAMETERS)
    assert parameters.items[1].prior.spread == together.day_spread
    assert parameters.items[0] == PARAMETERS.items[0]
    sharp = np.linalg.inv(together.factor.information)
    steps = np.diag(
        [{"rolling_resistance": 0.06, "battery_usable_wh": 0.02}[n] for n in factor.names]
    )
    assert np.linalg.inv(factor.information) == pytest.approx(sharp + steps**2, rel=1e-6)


def test_what_this_ride_has_not_keeps_its_handbook() -> None:
    """Wall energy tells capacity and charger in one: with the charger's prior it tells capacity.

    The variance of a sum of two independent logarithms (JCGM 100:2008, 5.1.2).
    """
    charger = Prior(PriorKind.LOG, 0.85, 0.04, "1", "", day_spread=0.01)
    row = np.array([1.0, 1.0])
    names = ("battery_usable_wh", "charger_efficiency")
    wall = Factor(names, np.outer(row, row) / 0.01**2, row * 0.3 / 0.01**2)
    known = pooled([wall], PARAMETERS, {"charger_efficiency": charger}).factor
    assert known.names == ("battery_usable_wh",)
    assert known.information[0, 0] ** -0.5 == pytest.approx(np.hypot(0.04, 0.01))
    assert known.vector[0] / known.information[0, 0] == pytest.approx(0.3 - np.log(0.85))


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
