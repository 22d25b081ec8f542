"""Percent of charge against percent of energy.

Chen et al. (2020), J. Electrochem. Soc. 167:080534: the published open-circuit curve of an
NMC811/graphite cell, integrated on a fine grid (10 001 points) with two independent programs.
"""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.physics.battery import (
    NMC_CHARGE,
    NMC_OPEN_CIRCUIT_V,
    charge_surplus,
    energy_fraction,
)

CHARGE_TO_ENERGY_PCT = {
    10: 8.18,
    20: 17.37,
    30: 26.85,
    40: 36.60,
    50: 46.56,
    60: 56.76,
    70: 67.21,
    80: 77.95,
    90: 88.90,
}


@pytest.mark.parametrize(("charge_pct", "energy_pct"), CHARGE_TO_ENERGY_PCT.items())
def test_energy_of_charge(charge_pct: float, energy_pct: float) -> None:
    # The package's table is coarser than the curve: 0.002 apart at most.
    assert energy_fraction(charge_pct / 100.0) == pytest.approx(energy_pct / 100.0, abs=2e-3)


def test_ends_of_the_curve() -> None:
    assert energy_fraction(0.0) == 0.0
    assert energy_fraction(1.0) == 1.0
    assert charge_surplus(np.array([0.0, 1.0]))[0] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_mean_voltage() -> None:
    # 3.72212 V by the 10 001-point trapezoid.
    mean = np.trapezoid(NMC_OPEN_CIRCUIT_V, NMC_CHARGE)
    assert mean == pytest.approx(3.72212, abs=0.005)


def test_equal_steps_of_charge_hold_unequal_energy() -> None:
    # Top tenth of the charge 11.10 % of the energy, bottom tenth 8.18 %.
    assert 1.0 - energy_fraction(0.9) == pytest.approx(0.1110, abs=2e-3)
    assert energy_fraction(0.1) == pytest.approx(0.0818, abs=2e-3)


def test_surplus_is_charge_less_energy() -> None:
    charge = np.linspace(0.0, 1.0, 201)
    energy = np.asarray(energy_fraction(charge))
    assert charge_surplus(energy)[0] == pytest.approx(charge - energy, abs=1e-3)


def test_surplus_against_the_published_curve() -> None:
    charge = np.array(list(CHARGE_TO_ENERGY_PCT)) / 100.0
    energy = np.array(list(CHARGE_TO_ENERGY_PCT.values())) / 100.0
    assert charge_surplus(energy)[0] == pytest.approx(charge - energy, abs=2.5e-3)


def test_curve_rises() -> None:
    assert np.all(np.diff(NMC_OPEN_CIRCUIT_V) > 0)
    assert np.all(np.diff(energy_fraction(np.linspace(0.0, 1.0, 500))) > 0)
