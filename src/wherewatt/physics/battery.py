"""Battery: charge, energy, voltage and cold.

A display that counts charge does not count energy: the cell's voltage falls as it empties, so
one percent near the top holds more watt-hours than one percent near the bottom.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np

from wherewatt.arrays import FloatArray


class Chemistry(StrEnum):
    """What the cells of a pack are made of, as far as it shows in their voltage."""

    NMC = "nmc"
    NCA = "nca"
    LFP = "lfp"


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """Open-circuit voltage of a cell at the shares of charge of `CHARGE`.

    Parameters
    ----------
    open_circuit_v : (16,) voltage at rest [V].
    """

    open_circuit_v: FloatArray


# Shares of charge of the tables below.
CHARGE = np.array(
    [0.0, 0.01, 0.03, 0.06, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0]
)

# Published fits, evaluated at 25 °C between the paper's own limits of voltage.
# NMC811 with graphite: Chen et al. (2020), J. Electrochem. Soc. 167:080534.
NMC811 = Cell(
    np.array(
        [
            *(2.5000, 2.7114, 2.9712, 3.1553, 3.2959, 3.4852, 3.5815, 3.6670),
            *(3.7509, 3.8406, 3.9479, 4.0421, 4.0967, 4.1236, 4.1645, 4.2000),
        ]
    )
)
# NMC532 with graphite: Mohtat et al. (2020), J. Electrochem. Soc. 167:110561.
NMC532 = Cell(
    np.array(
        [
            *(2.8000, 3.1142, 3.3791, 3.4802, 3.5107, 3.5847, 3.6389, 3.6710),
            *(3.7155, 3.7968, 3.8797, 3.9705, 4.0767, 4.1360, 4.1738, 4.2000),
        ]
    )
)
# An older NMC with graphite: Ecker et al. (2015), J. Electrochem. Soc. 162:A1836.
NMC_OLDER = Cell(
    np.array(
        [
            *(2.5000, 2.8797, 3.1454, 3.3435, 3.4586, 3.5870, 3.7094, 3.7700),
            *(3.7873, 3.8155, 3.8823, 3.9868, 4.0789, 4.1353, 4.1732, 4.2000),
        ]
    )
)
# NCA with graphite: Kim et al. (2011), J. Electrochem. Soc. 158:A955.
NCA = Cell(
    np.array(
        [
            *(2.7000, 3.0127, 3.1610, 3.2036, 3.2471, 3.3721, 3.4918, 3.5978),
            *(3.6846, 3.7678, 3.8742, 3.9803, 4.0803, 4.1354, 4.1726, 4.2000),
        ]
    )
)
# Iron phosphate with graphite: Prada et al. (2013), J. Electrochem. Soc. 160:A616.
LFP = Cell(
    np.array(
        [
            *(2.0000, 2.2655, 2.6028, 2.8432, 2.9781, 3.1685, 3.2058, 3.2525),
            *(3.2660, 3.2688, 3.2740, 3.3097, 3.3142, 3.3164, 3.3502, 3.6000),
        ]
    )
)
# Where nobody says what the cells are: half way between the two that light vehicles carry.
BLEND = Cell((NMC811.open_circuit_v + NCA.open_circuit_v) / 2.0)

# In what cells of one kind differ: from NMC811 to NCA, and to the flatter NMC of other makes; each
# the difference of two curves.
TOWARDS_NCA = Cell(NCA.open_circuit_v - NMC811.open_circuit_v)
TOWARDS_FLAT = Cell(
    (NMC532.open_circuit_v + NMC_OLDER.open_circuit_v) / 2.0 - NMC811.open_circuit_v
)

NMC_CHARGE, NMC_OPEN_CIRCUIT_V = CHARGE, NMC811.open_circuit_v

_CELLS = {Chemistry.NMC: NMC811, Chemistry.NCA: NCA, Chemistry.LFP: LFP}

# Usable energy against that at 25 °C at −20, −10, 0, 10, 25, 40 °C: model of O'Kane et al. (2022),
# Phys. Chem. Chem. Phys. 24:7909, half the capacity per hour; at −20 °C half way between its trend
# and the 0.60 to 0.70 of Jaguemont, Boulon and Dubé (2016), Appl. Energy 164:99 (from memory).
_TEMPERATURE_C = np.array([-20.0, -10.0, 0.0, 10.0, 25.0, 40.0])
_ENERGY_AGAINST_25_C = np.array([0.75, 0.8995, 0.9428, 0.9716, 1.0, 1.0175])


def cell_of(chemistry: Chemistry | None) -> Cell:
    """The cell of a chemistry; where none is stated, a blend of NMC and NCA."""
    return BLEND if chemistry is None else _CELLS[chemistry]


def open_circuit(charge: FloatArray | float, cell: Cell = NMC811) -> tuple[FloatArray, FloatArray]:
    """Voltage of a cell at rest [V] and its derivative by the share of charge [V].

    Monotone cubic interpolation of the table (Fritsch and Butland 1984, SIAM J. Sci. Stat. Comput.
    5:300); beyond full and empty its tangents there. So the slope has no jumps.
    """
    return _voltage_curve(cell).at(charge)


def open_circuits(charge: FloatArray, cells: tuple[Cell, ...]) -> tuple[FloatArray, FloatArray]:
    """The same of several cells (or differences of cells) at once; arrays (cells, m)."""
    return _voltage_curves(cells).at(charge)


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """A cubic between the points of a table over [0, 1], and its tangents beyond.

    Parameters
    ----------
    x : (k,) places of the points.
    cubics : (4, 2, …, k − 1) coefficients of powers 3 … 0 of the way from each point, of values and
        of derivatives; several tables of the same places in between.
    """

    x: FloatArray
    cubics: FloatArray

    @classmethod
    def of(cls, x: FloatArray, cubics: FloatArray) -> _Curve:
        """From the coefficients of the values only, (4, …, k − 1)."""
        third, second, first, _ = cubics
        slopes = np.stack([np.zeros_like(third), 3.0 * third, 2.0 * second, first])
        return cls(x, np.stack([cubics, slopes], axis=1))

    def at(self, place: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Values and derivatives."""
        inside = np.minimum(np.maximum(place, 0.0), 1.0)
        piece = self.x[1:-1].searchsorted(inside, side="right")
        way = inside - self.x[piece]
        third, second, first, constant = self.cubics.take(piece, axis=-1)
        value, slope = ((third * way + second) * way + first) * way + constant
        return value + slope * (place - inside), slope


def _interpolated(x: FloatArray, y: FloatArray) -> _Curve:
    from scipy.interpolate import PchipInterpolator  # slow to import, and few rides need it

    return _Curve.of(x, np.asarray(PchipInterpolator(x, y).c))


@cache
def _voltage_curve(cell: Cell) -> _Curve:
    return _interpolated(CHARGE, cell.open_circuit_v)


@cache
def _voltage_curves(cells: tuple[Cell, ...]) -> _Curve:
    return _Curve(CHARGE, np.stack([_voltage_curve(cell).cubics for cell in cells], axis=2))


def energy_fraction(charge: FloatArray | float, cell: Cell = NMC811) -> FloatArray | float:
    """Share of the energy that remains at a share of charge, both in [0, 1].

    Integral of the open-circuit voltage over charge (trapezoid rule on the tables above).
    """
    volts = cell.open_circuit_v
    energy = np.concatenate([[0.0], np.cumsum(np.diff(CHARGE) * (volts[1:] + volts[:-1]) / 2.0)])
    return np.interp(charge, CHARGE, energy / energy[-1])


def charge_surplus(
    energy: FloatArray | float, cell: Cell = NMC811
) -> tuple[FloatArray, FloatArray]:
    """By how much a display that counts charge stands above one that counts energy.

    Parameters
    ----------
    energy : share of the energy that remains [1]; beyond empty and full the surplus is zero.
    cell : what the pack is made of.

    Returns
    -------
    Share of charge less share of energy [1], and its derivative by the latter.
    """
    level, surplus, slope = _surplus_table(cell)
    return (
        np.asarray(np.interp(energy, level, surplus)),
        np.asarray(np.interp(energy, level, slope, left=0.0, right=0.0)),
    )


def charge_left(energy: FloatArray | float, cell: Cell = NMC811) -> tuple[FloatArray, FloatArray]:
    """Share of the charge that remains at a share of the energy, and its derivative.

    Beyond empty and full its tangents there; the slope is exact and has no jumps.
    """
    return _charge_curve(cell).at(energy)


@cache
def _charge_curve(cell: Cell) -> _Curve:
    level, surplus, _ = _surplus_table(cell)
    return _interpolated(level, level + surplus)


@cache
def _surplus_table(cell: Cell) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shares of energy, surplus and slope; rounded off so that the slope has no jumps.

    The corners of the coarse voltage table are none of the cell's.
    """
    level = np.linspace(0.0, 1.0, 401)
    charge = np.linspace(0.0, 1.0, 401)
    surplus = np.interp(level, energy_fraction(charge, cell), charge) - level
    kernel = np.hanning(25)[1:-1]
    padded = np.pad(surplus, len(kernel) // 2, mode="reflect", reflect_type="odd")
    smooth = np.convolve(padded, kernel / kernel.sum(), mode="valid")
    return level, smooth, np.gradient(smooth, level)


def cold_energy(temperature_c: float, *, reference_c: float) -> float:
    """Usable energy at a temperature over that at another [1].

    Model of one cell at the temperature of the air throughout; a pack warms itself and may come
    from indoors. Colder than −20 °C is taken as −20 °C, warmer than 40 °C as 40 °C.
    """
    now, then = np.interp([temperature_c, reference_c], _TEMPERATURE_C, _ENERGY_AGAINST_25_C)
    return float(now / then)
