"""The package's one discharge curve against the published curves of five cells.

Open-circuit voltages at 0, 10 … 100 % of charge as PyBaMM 26.10 gives them from its parameter
sets: Chen et al. (2020), J. Electrochem. Soc. 167:080534 (NMC811); Mohtat et al. (2020), J.
Electrochem. Soc. 167:110561 (NMC); Kim et al. (2011), J. Electrochem. Soc. 158:A955 (NCA); Ecker et
al. (2015), J. Electrochem. Soc. 162:A1836 (NMC); Prada et al. (2013), J. Electrochem. Soc.
160:A616 (LFP). The names of the sets are PyBaMM's; the papers' pages are values from memory. Where
PyBaMM is installed, the curves are taken from it anew, and finely.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from tests.allocate.builders import CONFIG
from wherewatt.allocate.callouts import Load, ShownPercent, predict_display
from wherewatt.arrays import FloatArray
from wherewatt.physics.battery import (
    NMC_CHARGE,
    NMC_OPEN_CIRCUIT_V,
    charge_surplus,
    energy_fraction,
)

TENTHS = np.linspace(0.0, 1.0, 11)
OPEN_CIRCUIT_V = {
    "Chen2020": [
        *(2.5000, 3.2959, 3.4852, 3.5815, 3.6670, 3.7509),
        *(3.8406, 3.9479, 4.0421, 4.0967, 4.2000),
    ],
    "Mohtat2020": [
        *(2.8000, 3.5107, 3.5847, 3.6389, 3.6710, 3.7155),
        *(3.7968, 3.8797, 3.9705, 4.0767, 4.2000),
    ],
    "NCA_Kim2011": [
        *(2.7000, 3.2471, 3.3721, 3.4918, 3.5978, 3.6846),
        *(3.7678, 3.8742, 3.9803, 4.0803, 4.2000),
    ],
    "Ecker2015": [
        *(2.5000, 3.4586, 3.5870, 3.7094, 3.7700, 3.7873),
        *(3.8155, 3.8823, 3.9868, 4.0789, 4.2000),
    ],
    "Prada2013": [
        *(2.0000, 2.9781, 3.1685, 3.2058, 3.2525, 3.2660),
        *(3.2688, 3.2740, 3.3097, 3.3142, 3.6000),
    ],
}
CELLS = tuple(OPEN_CIRCUIT_V)
# Chen et al. (2020) between 0 and 10 %: the collapse near empty.
CHEN_NEAR_EMPTY_V = [2.7114, 2.8625, 2.9712, 3.0504, 3.1094, 3.1553, 3.1933, 3.2276, 3.2614]

# Trapezoids over tenths leave out the collapse near empty: up to 0.65 % of the energy.
COARSE = 0.0065


def energy_shares(charge: FloatArray, volts: FloatArray) -> FloatArray:
    """Share of the energy below each charge: integral of the voltage."""
    steps = np.diff(charge) * (volts[1:] + volts[:-1]) / 2.0
    energy = np.concatenate([[0.0], np.cumsum(steps)])
    return np.asarray(energy / energy[-1])


def bend_of(charge: FloatArray, energy: FloatArray) -> tuple[float, float]:
    """The display bend that stands for a cell best, and what it leaves unexplained [points]."""
    surplus = charge - energy
    ours = charge_surplus(energy)[0]
    bend = float(surplus @ ours / (ours @ ours))
    return bend, 100.0 * float(np.max(np.abs(surplus - bend * ours)))


def test_the_package_holds_the_curve_of_chen() -> None:
    at_tenths = np.interp(TENTHS, NMC_CHARGE, NMC_OPEN_CIRCUIT_V)
    assert at_tenths == pytest.approx(OPEN_CIRCUIT_V["Chen2020"], abs=1e-4)


def test_collapse_near_empty() -> None:
    # Between the table's points at 1, 3, 6 and 10 % the curve is bent: 21 mV at 2 %.
    percent = np.arange(1, 10) / 100.0
    table = np.interp(percent, NMC_CHARGE, NMC_OPEN_CIRCUIT_V)
    assert table == pytest.approx(CHEN_NEAR_EMPTY_V, abs=0.022)
    assert table[[0, 2, 5]] == pytest.approx([2.7114, 2.9712, 3.1553], abs=1e-4)


@pytest.mark.parametrize("cell", CELLS)
def test_energy_of_charge_of_other_cells(cell: str) -> None:
    """One curve for all: no cell's energy is more than 2 % of full away, LFP farthest."""
    energy = energy_shares(TENTHS, np.array(OPEN_CIRCUIT_V[cell]))
    farthest = 0.02 if cell == "Prada2013" else 0.013
    assert energy == pytest.approx(energy_fraction(TENTHS), abs=farthest + COARSE)


@pytest.mark.parametrize("cell", CELLS)
def test_the_prior_of_the_bend_spans_the_cells(cell: str) -> None:
    """A display that counts charge looks like a bend from one half (iron phosphate) to one.

    A display that counts energy is a bend of zero: all lie within one spread of the prior's center.
    """
    bend, left_over = bend_of(TENTHS, energy_shares(TENTHS, np.array(OPEN_CIRCUIT_V[cell])))
    prior = CONFIG.priors["display_bend"]
    assert 0.3 < bend < 1.1
    assert abs(bend - prior.center) < prior.spread
    assert left_over < 1.0  # of a display's points: less than rounding takes


def test_display_at_half_charge() -> None:
    """Half of the charge is 46.56 % of the energy (Chen et al. 2020, 10 001-point trapezoid)."""
    shown = ShownPercent(np.zeros(1), np.zeros(1), np.array([50.0]), np.array([True]))
    idle = Load(np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(1), 400.0)
    values = {
        "battery_usable_wh": 400.0,
        "start_charge": 1.0,
        "display_bend": 1.0,
        "display_sag": 0.0,
        "display_delay_s": 0.0,
    }
    used = np.array([400.0 * (1.0 - 0.4656)])
    assert predict_display(shown, used, idle, values).percent[0] == pytest.approx(50.0, abs=0.2)


def test_sag_of_a_display_that_reads_voltage() -> None:
    """Ten cells in series, 75 mΩ, 10 A: 75 mV per cell, 8.6 points at half charge.

    75 mΩ: four 30 mΩ cells in parallel, ten in series; 30 mΩ is the 10 s resistance of the cell of
    Chen et al. (2020) in PyBaMM. The prior of the sag must reach that far.
    """
    volts = np.array(OPEN_CIRCUIT_V["Chen2020"])
    per_point = (volts[6] - volts[4]) / 20.0
    points = 0.075 / per_point
    assert points == pytest.approx(8.6, abs=0.05)
    per_kw = points / (10.0 * 10.0 * volts[5] / 1000.0)
    prior = CONFIG.priors["display_sag"]
    assert abs(np.log(per_kw / prior.center)) / prior.spread < 2.5


def published_curve(cell: str) -> tuple[FloatArray, FloatArray]:
    """Charge and open-circuit voltage on a fine grid, from PyBaMM's own parameter set."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of PyBaMM's own making
        pybamm = pytest.importorskip("pybamm", reason="the optional battery library is absent")
        values = pybamm.ParameterValues(cell)
        solver = pybamm.lithium_ion.ElectrodeSOHSolver(values)
        x_empty, x_full, y_full, y_empty = solver.get_min_max_stoichiometries()
        charge = np.linspace(0.0, 1.0, 2001)
        x = pybamm.Array(x_empty + charge * (x_full - x_empty))
        y = pybamm.Array(y_empty + charge * (y_full - y_empty))
        positive = values.evaluate(values["Positive electrode OCP [V]"](y))
        negative = values.evaluate(values["Negative electrode OCP [V]"](x))
    return charge, np.ravel(positive - negative)


@pytest.mark.parametrize("cell", CELLS)
def test_curves_are_the_librarys(cell: str) -> None:
    charge, volts = published_curve(cell)
    assert np.interp(TENTHS, charge, volts) == pytest.approx(OPEN_CIRCUIT_V[cell], abs=1e-4)


@pytest.mark.parametrize(
    ("cell", "farthest", "bend"),
    [
        # What the package's one curve leaves; the numbers are the library's, found here.
        ("Chen2020", 0.001, 0.99),
        ("Mohtat2020", 0.014, 0.67),
        ("NCA_Kim2011", 0.005, 0.98),
        ("Ecker2015", 0.012, 0.74),
        ("Prada2013", 0.020, 0.52),
    ],
)
def test_fine_curves(cell: str, farthest: float, bend: float) -> None:
    charge, volts = published_curve(cell)
    energy = energy_shares(charge, volts)
    assert energy == pytest.approx(energy_fraction(charge), abs=farthest)
    found, left_over = bend_of(charge, energy)
    assert found == pytest.approx(bend, abs=0.02)
    assert left_over < 0.7
