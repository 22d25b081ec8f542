"""Percent of charge against percent of energy, voltage, and energy in the cold.

Chen et al. (2020), J. Electrochem. Soc. 167:080534: the published open-circuit curve of an
NMC811/graphite cell, integrated on a fine grid (10 001 points) with two independent programs. The
other cells by PyBaMM 26.10 from the sets of Mohtat et al. (2020), J. Electrochem. Soc. 167:110561;
Kim et al. (2011), J. Electrochem. Soc. 158:A955; Ecker et al. (2015), J. Electrochem. Soc.
162:A1836; Prada et al. (2013), J. Electrochem. Soc. 160:A616 (pages from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.physics.battery import (
    BLEND,
    LFP,
    NCA,
    NMC532,
    NMC811,
    NMC_CHARGE,
    NMC_OLDER,
    NMC_OPEN_CIRCUIT_V,
    Cell,
    charge_surplus,
    cold_energy,
    energy_fraction,
    open_circuit,
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


@pytest.mark.parametrize(
    ("cell", "at_5", "at_25", "at_half", "at_75"),
    [
        # 5, 25 and 75 % are none of the tables' own points: there the interpolation errs.
        (NMC811, 3.1094, 3.5286, 3.7509, 3.9943),
        (NMC532, 3.4620, 3.6202, 3.7155, 3.9232),
        (NMC_OLDER, 3.2938, 3.6565, 3.7873, 3.9400),
        (NCA, 3.1939, 3.4331, 3.6846, 3.9300),
        (LFP, 2.7853, 3.1857, 3.2660, 3.2926),
    ],
)
def test_voltages(cell: Cell, at_5: float, at_25: float, at_half: float, at_75: float) -> None:
    found = open_circuit(np.array([0.05, 0.25, 0.5, 0.75]), cell)[0]
    assert found == pytest.approx([at_5, at_25, at_half, at_75], abs=0.012)


@pytest.mark.parametrize("cell", [NMC811, NMC532, NMC_OLDER, NCA, LFP, BLEND])
def test_slopes_of_voltages(cell: Cell) -> None:
    charge = np.linspace(-0.05, 1.05, 221) + 1e-4
    step = 1e-6
    up, down = (open_circuit(charge + sign * step, cell)[0] for sign in (1.0, -1.0))
    assert open_circuit(charge, cell)[1] == pytest.approx((up - down) / (2.0 * step), abs=1e-3)
    assert np.all(np.diff(open_circuit(charge, cell)[0]) > 0.0)


@pytest.mark.parametrize(
    ("cell", "energy_pct"),
    # Energy at half of the charge: PyBaMM's curves, 2 001-point trapezoid.
    [(NMC811, 46.56), (NMC532, 47.63), (NMC_OLDER, 47.58), (NCA, 46.53), (LFP, 48.41)],
)
def test_energy_at_half_charge(cell: Cell, energy_pct: float) -> None:
    assert energy_fraction(0.5, cell) == pytest.approx(energy_pct / 100.0, abs=2e-3)


@pytest.mark.parametrize(
    ("celsius", "ratio"), [(-10.0, 0.8995), (0.0, 0.9428), (10.0, 0.9716), (40.0, 1.0175)]
)
def test_energy_in_the_cold(celsius: float, ratio: float) -> None:
    """Energy against that at 25 °C, at half the capacity per hour: cell of O'Kane et al. (2022) in
    PyBaMM's Doyle-Fuller-Newman model at constant temperature, good to 1 %."""
    assert cold_energy(celsius, reference_c=25.0) == pytest.approx(ratio, abs=1e-4)


def test_cold_at_a_higher_load_is_within_the_doubt() -> None:
    """At the capacity per hour the same model keeps 0.887 at 0 °C and 0.948 at 10 °C: the loss is
    twice that at half the load, which is what the prior's doubt (`cold_doubt`) stands for."""
    for celsius, kept in ((0.0, 0.887), (10.0, 0.948)):
        assert 1.0 - kept < 2.05 * (1.0 - cold_energy(celsius, reference_c=25.0))
