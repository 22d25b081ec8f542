"""How many cells in series a pack has: from its label, and from the voltages that were read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.physics.battery import Chemistry, cell_of, open_circuit

# Voltages of one cell outside these are no cell's: a slip, or another number of cells.
LOWEST_CELL_V, HIGHEST_CELL_V = 2.0, 4.4

# Counts that packs of light vehicles have; common practice, no source.
_COMMON = (7, 10, 13, 14, 16, 17, 20, 24)
_COMMON_LFP = (4, 8, 12, 15, 16, 20, 24)
_NOMINAL_CELL_V = 3.65  # labels take 3.6 or 3.7 V a cell
_NOMINAL_LFP_V = 3.2
_FULL_CELL_V = 4.2
_FULL_LFP_V = 3.6
_SLACK_V = 0.05  # charger and meter: a full cell may be read this much higher …
_BELOW_FULL = 0.015  # … and a full pack this share lower, once it has rested or rides
_MEAN_SAG_V = 0.04  # a cell at the usual load: 1.5 A through 30 mΩ
_CURVE_SD_V = 0.12  # cells of one kind, and displays, differ by this much
_LABEL_SD = 0.05  # labels differ from the mean voltage by this share
_CLEAR = 2.0  # what the next best count must fit worse, in halves of squared deviations


@dataclass(frozen=True, slots=True)
class Series:
    """Cells in series, and how that is known.

    Parameters
    ----------
    count : cells in series.
    certain : False if the level of the voltages says nothing, only their changes do.
    told : what to tell the user; empty if the label says it all.
    """

    count: int
    certain: bool
    told: str


def plausible(volts: FloatArray, count: int) -> BoolArray:
    """Which voltages of a pack its cells can have."""
    per_cell = volts / count
    return np.asarray((per_cell >= LOWEST_CELL_V) & (per_cell <= HIGHEST_CELL_V))


def cells_in_series(
    volts: FloatArray, percent: FloatArray, nominal_v: float | None, chemistry: Chemistry | None
) -> Series:
    """Cells in series of a pack.

    Parameters
    ----------
    volts : (m,) voltages as read [V]; at least one.
    percent : (m,) state of charge shown with them [%]; NaN where none was.
    nominal_v : as on the label [V], if the user states it.
    chemistry : if the user states it.
    """
    if nominal_v is not None:
        return _near_label(volts, percent, nominal_v, chemistry)
    common = _COMMON_LFP if chemistry is Chemistry.LFP else _COMMON
    if np.isfinite(percent).any():
        costs = [_misfit(volts, percent, count, chemistry) for count in common]
        best, second = np.argsort(costs)[:2]
        if costs[best] < _CLEAR < costs[second] - costs[best]:
            count = common[best]
            return Series(count, True, f"{count} cells in series, by the percent shown with them")
    full_v = _FULL_LFP_V if chemistry is Chemistry.LFP else _FULL_CELL_V
    for count in common:
        if -_BELOW_FULL < float(np.max(volts)) / (count * full_v) - 1.0 < _SLACK_V / full_v:
            told = f"{count} cells in series, by the highest: taken as that of a full pack"
            return Series(count, True, told)
    count = max(1, round(float(np.median(volts)) / _nominal_cell_v(chemistry)))
    told = "cells in series not known: only changes count; battery_nominal_v would tell"
    return Series(count, False, told)


def _near_label(
    volts: FloatArray, percent: FloatArray, nominal_v: float, chemistry: Chemistry | None
) -> Series:
    """The count that the label suggests, or a neighbour that the voltages fit clearly better."""
    labelled = max(1, round(nominal_v / _nominal_cell_v(chemistry)))

    def cost(count: int) -> float:
        deviation = (count * _nominal_cell_v(chemistry) / nominal_v - 1.0) / _LABEL_SD
        return deviation**2 + _misfit(volts, percent, count, chemistry)

    neighbours = (labelled, labelled - 1, labelled + 1) if labelled > 1 else (1, 2)
    best = min(neighbours, key=cost)
    if best == labelled or cost(labelled) - cost(best) < 0.5 * _CLEAR:
        return Series(labelled, True, "")
    told = f"{best} cells in series fit them, not the {labelled} of {nominal_v:g} V"
    return Series(best, True, told)


def _nominal_cell_v(chemistry: Chemistry | None) -> float:
    return _NOMINAL_LFP_V if chemistry is Chemistry.LFP else _NOMINAL_CELL_V


def _misfit(
    volts: FloatArray, percent: FloatArray, count: int, chemistry: Chemistry | None
) -> float:
    """How badly a count fits: the median against the percent shown, and voltages above full."""
    per_cell = volts / count
    full_v = _FULL_LFP_V if chemistry is Chemistry.LFP else _FULL_CELL_V
    above = 15.0 * float(np.mean(per_cell > full_v + _SLACK_V))
    both = np.isfinite(percent)
    if not both.any():
        return above
    expected = open_circuit(percent[both] / 100.0, cell_of(chemistry))[0] - _MEAN_SAG_V
    return above + float(np.median(np.square((per_cell[both] - expected) / _CURVE_SD_V)))
