"""The ride in cells: runs of legs over which everything the estimate asks for is one number.

A cell ends where a section, a stretch of the discrepancy or the time of a call-out ends. Sums
over legs are made once per iteration, by cell; the rest of the estimate works on cells.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.callouts import ShownPercent
from wherewatt.allocate.loads import Loads
from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.motion.ride import Ride
from wherewatt.sections.cutting import Sections
from wherewatt.sections.surface import UNTAGGED
from wherewatt.units import JOULES_PER_WATT_HOUR


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Cells of a ride, in order; arrays (c,) unless said otherwise.

    Parameters
    ----------
    first_leg : first leg of each cell.
    section, stretch : section and discrepancy stretch of each cell.
    stretch_spread : (k,) standard deviation of the logarithm of each stretch's discrepancy.
    leg_share : (n,) length of each leg over the length of its section [1].
    before : (m,) number of cells that lie before each call-out.
    """

    first_leg: IntArray
    section: IntArray
    stretch: IntArray
    stretch_spread: FloatArray
    leg_share: FloatArray
    before: IntArray

    @property
    def stretches(self) -> int:
        """Number of stretches."""
        return len(self.stretch_spread)

    def each_alone(self, which: BoolArray, spread: float) -> Cells:
        """The same cells, of which those chosen are each a stretch of its own.

        Where a logger measured a cell, the model need not know it beforehand: `spread` is wide.
        """
        own = np.cumsum(which) + self.stretches - 1
        number, stretch = np.unique(np.where(which, own, self.stretch), return_inverse=True)
        spreads = np.concatenate([self.stretch_spread, np.full(int(which.sum()), spread)])
        return replace(self, stretch=stretch, stretch_spread=spreads[number])

    def sums(self, values: FloatArray) -> FloatArray:
        """Sums over the legs of each cell; the last axis of `values` is legs."""
        return np.add.reduceat(values, self.first_leg, axis=-1)


def cut_cells(
    sections: Sections,
    shown: ShownPercent,
    settings: EstimateSettings,
    *,
    wind_speed_m_s: float,
) -> Cells:
    """Cut a ride, which has a point at the time of every call-out, into cells.

    What is unknown of a stretch grows with the share of it whose surface nobody tagged, and with
    the wind, of which the estimate knows one vector for the whole ride but not the shelter.
    """
    ride = sections.ride
    stretch, stretches = _stretches(ride, settings.stretch_m)
    point = np.searchsorted(ride.time_s, shown.time_s - 1e-6)  # first point at or after it
    passed = np.cumsum(np.bincount(point, minlength=len(ride.time_s)))[:-1]
    changed = np.ones(len(stretch), dtype=bool)
    changed[1:] = (
        (np.diff(sections.leg_section) != 0) | (np.diff(stretch) != 0) | (np.diff(passed) != 0)
    )
    first = np.flatnonzero(changed)
    metres = ride.leg_distance_m
    untagged = np.array([name == UNTAGGED for name in sections.surface])[sections.leg_section]
    unknown = _share_of(untagged * metres, metres, stretch, stretches)
    known_part = np.hypot(settings.stretch_spread, settings.shelter_spread_s_m * wind_speed_m_s)
    length = sections.total(metres)[sections.leg_section]
    return Cells(
        first_leg=first,
        section=sections.leg_section[first],
        stretch=stretch[first],
        stretch_spread=np.hypot(known_part, settings.untagged_spread * unknown),
        leg_share=np.divide(metres, length, out=np.zeros_like(length), where=length > 0),
        before=np.searchsorted(first, point),
    )


def _stretches(ride: Ride, stretch_m: float) -> tuple[IntArray, int]:
    """(n−1,) stretch of each leg, of equal lengths as near to `stretch_m` as fits; their number."""
    total = max(float(ride.distance_m[-1]), 1.0)
    stretches = max(1, round(total / stretch_m))
    middle = (ride.distance_m[1:] + ride.distance_m[:-1]) / 2.0
    return np.minimum((middle / total * stretches).astype(np.intp), stretches - 1), stretches


def _share_of(part: FloatArray, whole: FloatArray, label: IntArray, labels: int) -> FloatArray:
    """(labels,) sum of a part over the sum of the whole, by label; 0 where there is nothing."""
    above = np.bincount(label, weights=part, minlength=labels)
    below = np.bincount(label, weights=whole, minlength=labels)
    return np.divide(above, below, out=np.zeros(labels), where=below > 0)


@dataclass(frozen=True, slots=True, eq=False)
class CellEnergy:
    """Energy of the cells and its derivative with respect to every unknown.

    The unknowns are, in this order: the parameters' scores, one score per discrepancy stretch,
    one score per mode of the height error.

    Parameters
    ----------
    wh : (c,) battery energy [Wh].
    slopes : (c, u) derivatives [Wh per unit of the unknown].
    """

    wh: FloatArray
    slopes: FloatArray


def cell_energy(
    cells: Cells,
    loads: Loads,
    *,
    parameter_slopes: FloatArray,
    log_factors: FloatArray,
    height_modes: FloatArray,
    weight_n: float,
) -> CellEnergy:
    """Energy of the cells at the present parameters.

    Parameters
    ----------
    parameter_slopes : (p, n) derivative of the legs' battery energy by the scores [J].
    log_factors : (k,) logarithm of the discrepancy of each stretch.
    height_modes : (sections + 1, h) height error at the section edges per unit score [m].
    weight_n : weight of rider and vehicle [N].
    """
    factor = np.exp(log_factors)[cells.stretch] / JOULES_PER_WATT_HOUR
    energy = cells.sums(loads.battery_j) * factor
    of_parameters = (cells.sums(parameter_slopes) * factor).T
    of_stretches = np.zeros((len(energy), cells.stretches))
    of_stretches[np.arange(len(energy)), cells.stretch] = (
        energy * cells.stretch_spread[cells.stretch]
    )
    per_metre = cells.sums(loads.wheel_gain * cells.leg_share) * factor * weight_n
    of_height = per_metre[:, None] * np.diff(height_modes, axis=0)[cells.section]
    return CellEnergy(energy, np.hstack([of_parameters, of_stretches, of_height]))
