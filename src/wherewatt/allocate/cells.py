"""The ride in cells: runs of legs over which everything the estimate asks for is one number.

A cell ends where a section, a stretch of the discrepancy or the time of a call-out ends. Sums
over legs are made once per iteration, by cell; the rest of the estimate works on cells.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from wherewatt.allocate.callouts import ShownPercent
from wherewatt.allocate.parameters import Parameters
from wherewatt.allocate.runs import Runs, add_stretches, through_sections
from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.motion.ride import Ride
from wherewatt.sections.cutting import Sections
from wherewatt.sections.surface import UNTAGGED
from wherewatt.units import JOULES_PER_WATT_HOUR, STANDARD_GRAVITY_M_S2


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
    def legs(self) -> IntArray:
        """(c,) number of legs of each cell."""
        return np.diff(np.append(self.first_leg, len(self.leg_share)))

    @property
    def stretches(self) -> int:
        """Number of stretches."""
        return len(self.stretch_spread)

    def runs(self, first: IntArray, end: IntArray) -> Runs:
        """Runs of cells, each from `first` to before `end`."""
        return Runs(first, end, self.stretch, self.section)

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
    metres, of_section = ride.leg_distance_m, sections.first_leg
    stretch_first = _stretches(ride, settings.stretch_m)
    point = np.searchsorted(ride.time_s, shown.time_s - 1e-6)  # first point at or after it
    first = np.unique(np.concatenate([of_section, stretch_first, point]))
    first = first[: np.searchsorted(first, len(metres))]
    section = np.searchsorted(of_section, first, side="right") - 1
    stretch = np.searchsorted(stretch_first, first, side="right") - 1
    length = np.add.reduceat(metres, first)
    untagged = np.array([name == UNTAGGED for name in sections.surface])[section]
    unknown = _share_of(untagged * length, length, stretch, len(stretch_first))
    known_part = np.hypot(settings.stretch_spread, settings.shelter_spread_s_m * wind_speed_m_s)
    whole = np.add.reduceat(metres, of_section)
    share = np.divide(1.0, whole, out=np.zeros_like(whole), where=whole > 0)
    return Cells(
        first_leg=first,
        section=section,
        stretch=stretch,
        stretch_spread=np.hypot(known_part, settings.untagged_spread * unknown),
        leg_share=metres * np.repeat(share, np.diff(of_section, append=len(metres))),
        before=np.searchsorted(first, point),
    )


def _stretches(ride: Ride, stretch_m: float) -> IntArray:
    """First leg of each stretch, of equal lengths as near to `stretch_m` as fits."""
    total = max(float(ride.distance_m[-1]), 1.0)
    stretches = max(1, round(total / stretch_m))
    middle = (ride.distance_m[1:] + ride.distance_m[:-1]) / 2.0
    return np.searchsorted(middle, np.arange(stretches) * (total / stretches))


def _share_of(part: FloatArray, whole: FloatArray, label: IntArray, labels: int) -> FloatArray:
    """(labels,) sum of a part over the sum of the whole, by label; 0 where there is nothing."""
    above = np.bincount(label, weights=part, minlength=labels)
    below = np.bincount(label, weights=whole, minlength=labels)
    return np.divide(above, below, out=np.zeros(labels), where=below > 0)


@dataclass(frozen=True, slots=True, eq=False)
class CellSums:
    """Sums over the legs of each cell; arrays (c,).

    Parameters
    ----------
    battery_j : battery energy before the discrepancy [J].
    slopes : its derivative by the value of each parameter it depends on.
    per_rise : its derivative by the work at the wheel that a unit error of the section's rise adds,
        which spreads over the section by length [1].
    times : a factor that is still missing from all of them.
    """

    battery_j: FloatArray
    slopes: dict[str, FloatArray]
    per_rise: FloatArray
    times: float = 1.0

    def on_day(self, day_factor: float) -> CellSums:
        """The same on a day that takes so much more of everything."""
        slopes = {**self.slopes, "day_factor": self.battery_j / day_factor}
        return CellSums(self.battery_j, slopes, self.per_rise, day_factor)


def cell_sums(
    battery_j: FloatArray,
    slopes: Mapping[str, FloatArray],
    wheel_gain: FloatArray,
    leg_share: FloatArray,
    first_leg: IntArray,
) -> CellSums:
    """Sums over the legs of each cell.

    Parameters
    ----------
    battery_j, slopes, wheel_gain : (n,) of legs, as `loads.Loads` has them.
    leg_share : (n,) length of each leg over the length of its section [1].
    first_leg : (c,) first leg of each cell.
    """
    return CellSums(
        np.add.reduceat(battery_j, first_leg),
        {name: np.add.reduceat(slope, first_leg) for name, slope in slopes.items()},
        np.add.reduceat(wheel_gain * leg_share, first_leg),
    )


@dataclass(frozen=True, eq=False)
class CellEnergy:
    """Energy of the cells and its derivative with respect to every unknown.

    The unknowns are, in this order: the parameters' scores, one score per discrepancy stretch,
    one score per mode of the height error.

    Parameters
    ----------
    cells : the cells.
    wh : (c,) battery energy [Wh].
    of_parameters : (c, p) derivatives by the parameters' scores [Wh].
    per_metre : (c,) derivative by the error of the rise of the cell's section [Wh/m].
    rise_modes : (sections, h) error of the sections' rise per unit score [m].
    rise_covariance : (sections, sections) of that error [m²].
    """

    cells: Cells
    wh: FloatArray
    of_parameters: FloatArray
    per_metre: FloatArray
    rise_modes: FloatArray
    rise_covariance: FloatArray

    @cached_property
    def of_stretch(self) -> FloatArray:
        """(c,) derivative by the score of the cell's own stretch [Wh]."""
        return self.wh * self.cells.stretch_spread[self.cells.stretch]

    @cached_property
    def slopes(self) -> FloatArray:
        """(c, u) derivatives by all unknowns [Wh]; large for a long ride."""
        cell = np.arange(len(self.wh))
        return self.summed(self.cells.runs(cell, cell + 1))

    @property
    def total_slopes(self) -> FloatArray:
        """(u,) derivatives of the energy of the ride."""
        every = np.ones(len(self.wh))
        return np.concatenate([self.of_parameters.sum(axis=0), self.pulled(every)])

    def summed(self, runs: Runs) -> FloatArray:
        """(g, u) derivatives of the summed energy of runs of cells."""
        return np.hstack([runs.sums(self.of_parameters), self.others(runs)])

    def others(self, runs: Runs) -> FloatArray:
        """(g, u − p) the same by the scores of stretches and height modes only."""
        run, cell = runs.members
        stretch, section = runs.stretch[cell], runs.section[cell]
        by_stretch = np.zeros((len(runs), self.cells.stretches))
        np.add.at(by_stretch, (run, stretch), self.of_stretch[cell])
        by_section = np.zeros((len(runs), len(self.rise_modes)))
        np.add.at(by_section, (run, section), self.per_metre[cell])
        return np.hstack([by_stretch, by_section @ self.rise_modes])

    def shared(self, one: Runs, other: Runs) -> FloatArray:
        """(g, g) covariance of the energy of runs that is due to stretches and heights [Wh²]."""
        shared = through_sections(one, other, self.per_metre, self.rise_covariance)
        add_stretches(shared, one, other, self.of_stretch)
        return shared

    def moved(self, others: FloatArray) -> FloatArray:
        """(c, k) what k sets of scores of stretches and height modes (u − p, k) add [Wh]."""
        rise = self.rise_modes @ others[self.cells.stretches :]
        by_stretch = self.of_stretch[:, None] * others[self.cells.stretch]
        return by_stretch + self.per_metre[:, None] * rise[self.cells.section]

    def pulled(self, pull: FloatArray) -> FloatArray:
        """(u − p,) derivatives of a weighted sum of the cells' energies, with weights (c,)."""
        cells, sections = self.cells, len(self.rise_modes)
        by_stretch = np.bincount(cells.stretch, self.of_stretch * pull, cells.stretches)
        by_section = np.bincount(cells.section, self.per_metre * pull, sections)
        return np.concatenate([by_stretch, by_section @ self.rise_modes])


def cell_energy(
    cells: Cells,
    sums: CellSums,
    *,
    parameters: Parameters,
    scores: FloatArray,
    rise_modes: FloatArray,
    rise_covariance: FloatArray,
) -> CellEnergy:
    """Energy of the cells at given scores.

    Parameters
    ----------
    sums : of the legs at the values of these scores.
    scores : (u,) unknowns.
    rise_modes, rise_covariance : error of the sections' rise (sections, h) per unit score [m], and
        its covariance (sections, sections) [m²].
    """
    p = len(parameters)
    values, by_score = parameters.at(scores)
    log_factors = cells.stretch_spread * scores[p : p + cells.stretches]
    factor = np.exp(log_factors)[cells.stretch] * (sums.times / JOULES_PER_WATT_HOUR)
    nothing = np.zeros(len(factor))
    of_parameters = np.array([sums.slopes.get(name, nothing) for name in by_score]).T
    of_parameters = of_parameters * list(by_score.values()) * factor[:, None]
    weight_n = values["mass_kg"] * STANDARD_GRAVITY_M_S2
    return CellEnergy(
        cells=cells,
        wh=sums.battery_j * factor,
        of_parameters=of_parameters,
        per_metre=sums.per_rise * factor * weight_n,
        rise_modes=rise_modes,
        rise_covariance=rise_covariance,
    )
