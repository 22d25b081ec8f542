"""The pack: open-circuit voltage, resistance, and state of charge under a load.

Open-circuit voltages of a cell by state of charge are those of Chen et al. 2020, J. Electrochem.
Soc. 167:080534 (LG M50, NMC/graphite), blended with those of Kim et al. 2011, J. Electrochem.
Soc. 158:A955 (NCA): real packs are like neither.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .noise import FloatArray

_SOC = np.array([
    0.0, 0.01, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.09,
    0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0,
])  # fmt: skip
_CHEN_V = np.array([
    2.5000, 2.7114, 2.8625, 2.9712, 3.0504, 3.1094, 3.1553, 3.1933, 3.2276, 3.2614,
    3.2959, 3.4852, 3.5815, 3.6670, 3.7509, 3.8406, 3.9479, 4.0421, 4.0967, 4.2000,
])  # fmt: skip
_KIM_SOC = np.linspace(0.0, 1.0, 11)
_KIM_V = np.array([
    2.7000, 3.2471, 3.3721, 3.4918, 3.5978, 3.6846, 3.7678, 3.8742, 3.9803, 4.0803, 4.2000,
])  # fmt: skip
_GRID = np.linspace(0.0, 1.0, 2001)
LARGEST_WH = 900.0
"""Nominal energy of the largest pack drawn."""
POLARISATION_S = 45.0
"""Time constant with which the slow half of the sag builds up and recovers."""


@dataclass(frozen=True, slots=True)
class Battery:
    """A pack as it truly is.

    Attributes
    ----------
    cells_in_series : int
        Cells in series.
    nominal_wh, usable_wh : float
        Printed energy, and what it delivers at its terminals from full to empty under a load
        like that of the ride.
    charge_ah : float
        Charge from full to empty.
    resistance_ohm, polarisation_ohm : float
        Immediate and slow resistance of the pack.
    kim_share : float
        How much of the voltage curve is NCA rather than NMC [-].
    start_soc : float
        State of charge when the ride starts [-].
    """

    cells_in_series: int
    nominal_wh: float
    usable_wh: float
    charge_ah: float
    resistance_ohm: float
    polarisation_ohm: float
    kim_share: float
    start_soc: float

    def curve_v(self) -> FloatArray:
        """Open-circuit pack voltage [V] at 2001 even states of charge from 0 to 1."""
        return self.cells_in_series * _cell_curve_v(self.kim_share)


@dataclass(frozen=True, slots=True)
class Discharge:
    """The pack over a ride, at n + 1 instants.

    Attributes
    ----------
    soc : array, shape (n + 1,)
        State of charge [-].
    voltage_v : array, shape (n + 1,)
        Terminal voltage under the load of the step before [V].
    heat_wh : float
        Energy lost inside the pack.
    """

    soc: FloatArray
    voltage_v: FloatArray
    heat_wh: float


def _cell_curve_v(kim_share: float) -> FloatArray:
    chen_v = np.interp(_GRID, _SOC, _CHEN_V)
    kim_v = np.interp(_GRID, _KIM_SOC, _KIM_V)
    return (1.0 - kim_share) * chen_v + kim_share * kim_v


def draw_battery(
    cells_in_series: int,
    smallest_wh: float,
    power_w: FloatArray,
    dt_s: float,
    rng: np.random.Generator,
) -> Battery:
    """Draw a pack of a size that people would take on such a ride.

    Parameters
    ----------
    cells_in_series : int
        Cells in series.
    smallest_wh : float
        Smallest pack that would feed the motor.
    power_w : array, shape (n,)
        What the ride takes from the terminals per step: it sets how deeply the pack is discharged.
    dt_s : float
        Length of a step [s].
    rng : numpy.random.Generator
        Source of randomness.
    """
    share = rng.uniform(0.85, 0.98)
    kim_share = float(rng.uniform(0.0, 0.5))
    curve_v = _cell_curve_v(kim_share)
    start_soc = _draw_start(rng)
    available = float(curve_v[: int(start_soc * curve_v.size)].sum() / curve_v.sum())
    taken_wh = float(power_w.sum()) * dt_s / 3600.0 / (rng.uniform(0.35, 0.96) * share)
    if taken_wh / available > LARGEST_WH:  # nobody sets out on a long ride half charged
        start_soc = available = 1.0
    needed_wh = 10.0 * round(taken_wh / available / 10.0)
    nominal_wh = float(np.clip(needed_wh, smallest_wh, LARGEST_WH))
    usable_wh = nominal_wh * share
    # As many strings of 5 Ah cells as the pack needs (cf. LG M50: 23 mOhm at once, 29 after 10 s).
    strings = nominal_wh / (cells_in_series * 3.65 * 5.0)
    resistance_ohm = cells_in_series / strings * rng.uniform(0.016, 0.030)
    polarisation_ohm = resistance_ohm * rng.uniform(0.3, 0.5)
    mean_v = cells_in_series * float(np.mean(curve_v))
    # usable = Q (mean_v - R I), with the current that a coulomb leaves at on average.
    typical_a = float((power_w**2).sum() / power_w.sum()) / mean_v
    charge_ah = usable_wh / (mean_v - (resistance_ohm + polarisation_ohm) * typical_a)
    return Battery(
        cells_in_series, nominal_wh, usable_wh, charge_ah,
        float(resistance_ohm), float(polarisation_ohm), kim_share, start_soc,
    )  # fmt: skip


def draw_large_battery(cells_in_series: int, rng: np.random.Generator) -> Battery:
    """Draw a full pack that is large enough for any ride of an ordinary day.

    Parameters
    ----------
    cells_in_series : int
        Cells in series.
    rng : numpy.random.Generator
        Source of randomness.
    """
    # A ride that takes 300 W evenly over the whole pack.
    steps = np.full(3600 * 3, 300.0)
    pack = draw_battery(cells_in_series, float(rng.integers(65, 90)) * 10.0, steps * 0.5, 1.0, rng)
    return replace(pack, start_soc=1.0)


def _draw_start(rng: np.random.Generator) -> float:
    """State of charge at the start: mostly full, at times what was left from another ride."""
    kind = rng.random()
    if kind < 0.6:
        return 1.0
    return float(rng.uniform(0.8, 0.99) if kind < 0.88 else rng.uniform(0.45, 0.8))


def discharge(battery: Battery, power_w: FloatArray, dt_s: float) -> Discharge:
    """Take a power from the pack step by step.

    Parameters
    ----------
    battery : Battery
        The pack.
    power_w : array, shape (n,)
        Power at the terminals, positive out of the pack [W].
    dt_s : float
        Length of a step [s].

    Raises
    ------
    RuntimeError
        If the pack runs empty.
    """
    curve_v = battery.curve_v().tolist()
    last = len(curve_v) - 1
    quick, slow = battery.resistance_ohm, battery.polarisation_ohm
    relax = 1.0 - math.exp(-dt_s / POLARISATION_S)
    per_step = dt_s / (3600.0 * battery.charge_ah)
    soc, polarised_v, heat_j = battery.start_soc, 0.0, 0.0
    socs, volts = [soc], [curve_v[int(soc * last)]]
    for demand_w in power_w.tolist():
        place = min(max(soc, 0.0), 1.0) * last
        cell = min(int(place), last - 1)
        open_v = curve_v[cell] + (curve_v[cell + 1] - curve_v[cell]) * (place - cell)
        inner_v = open_v - polarised_v
        spare = max(inner_v * inner_v - 4.0 * quick * demand_w, 0.0)
        current_a = (inner_v - math.sqrt(spare)) / (2.0 * quick)
        soc -= current_a * per_step
        heat_j += (open_v * current_a - demand_w) * dt_s
        polarised_v += (slow * current_a - polarised_v) * relax
        if soc < 0.005:
            raise RuntimeError("pack empty before the end of the ride")
        socs.append(soc)
        volts.append(inner_v - quick * current_a)
    return Discharge(np.array(socs), np.array(volts), heat_j / 3600.0)
