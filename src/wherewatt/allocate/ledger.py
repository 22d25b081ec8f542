"""The ledger: energy of every section by cause, with what is known of the errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.cause_slopes import WeighedCauses, weighed_causes
from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.loads import CAUSES
from wherewatt.arrays import FloatArray
from wherewatt.sections.cutting import Sections
from wherewatt.units import JOULES_PER_WATT_HOUR, STANDARD_GRAVITY_M_S2

# Normal quantile of a two-sided 90 % interval.
Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Measure:
    """A number with its standard deviation and 90 % interval.

    Parameters
    ----------
    mean, sd : most probable value and standard deviation.
    ratio : True for a ratio of positive numbers: its logarithm is taken as normal, so that the
        interval never reaches below zero.
    """

    mean: float
    sd: float
    ratio: bool = False

    @property
    def low90(self) -> float:
        """Lower end of the 90 % interval."""
        return self._quantile(-Z90)

    @property
    def high90(self) -> float:
        """Upper end of the 90 % interval."""
        return self._quantile(Z90)

    def _quantile(self, deviations: float) -> float:
        if self.ratio and np.isfinite(self.mean):
            return self.mean * float(np.exp(deviations * self.sd / self.mean))
        return self.mean + deviations * self.sd


@dataclass(frozen=True, slots=True, eq=False)
class Ledger:
    """Energy by section and cause.

    Parameters
    ----------
    leg_wh : (len(CAUSES), n) energy of every leg by cause [Wh].
    section_wh : (len(CAUSES), k) the same by section; columns add up to the section's energy.
    section_covariance : (k, k) covariance of the sections' energies [Wh²].
    total : energy of the ride [Wh].
    by_cause : energy of the ride by cause [Wh].
    wh_per_km : consumption [Wh/km].
    full_charge_km : distance a full charge would go at this ride's consumption [km].
    """

    leg_wh: FloatArray
    section_wh: FloatArray
    section_covariance: FloatArray
    total: Measure
    by_cause: dict[str, Measure]
    wh_per_km: Measure
    full_charge_km: Measure

    @property
    def section_sd(self) -> FloatArray:
        """(sections,) standard deviation of the energy of each section [Wh]."""
        return np.sqrt(np.diag(self.section_covariance))

    @property
    def section_measures(self) -> list[Measure]:
        """Energy of each section [Wh]."""
        means, sds = self.section_wh.sum(axis=0).tolist(), self.section_sd.tolist()
        return [Measure(mean, sd) for mean, sd in zip(means, sds, strict=True)]


def build_ledger(estimate: Estimate) -> Ledger:
    """Sum an estimate by section and cause; every sum is a sum over legs."""
    sections, cells, solution = estimate.evidence.sections, estimate.cells, estimate.solution
    causes = weighed_causes(estimate.loads, estimate.leg_factor / JOULES_PER_WATT_HOUR)
    cell_wh = cells.sums(causes.energy)
    edges = np.searchsorted(cells.section, np.arange(len(sections) + 1))
    section_wh = np.add.reduceat(cell_wh, edges[:-1], axis=1)
    covariance = solution.of_runs(cells.runs(edges[:-1], edges[1:]))
    _add_terrain_edges(
        covariance,
        sections,
        section_wh.sum(axis=0),
        estimate.evidence.settings.terrain_edge_sd_m,
    )
    total = Measure(float(section_wh.sum()), float(np.sqrt(max(0.0, covariance.sum()))))
    km = float(sections.ride.distance_m[-1]) / 1000.0
    per_km = Measure(total.mean / km, total.sd / km)
    slopes = [_cause_slopes(estimate, causes, cell_wh), _full_charge_slope(estimate, per_km, km)]
    *cause_sd, full_charge_sd = solution.sds(np.vstack(slopes)).tolist()
    by_cause = {
        cause: Measure(wh, sd)
        for cause, wh, sd in zip(CAUSES, section_wh.sum(axis=1).tolist(), cause_sd, strict=True)
    }
    return Ledger(
        leg_wh=causes.energy,
        section_wh=section_wh,
        section_covariance=covariance,
        total=total,
        by_cause=by_cause,
        wh_per_km=per_km,
        full_charge_km=_full_charge(estimate, per_km, full_charge_sd),
    )


def _add_terrain_edges(
    covariance: FloatArray, sections: Sections, wh: FloatArray, edge_sd_m: float
) -> None:
    """Add what is unknown of where one terrain ends and the next begins.

    What a shifted edge takes from one section the other gains: the total is as sure as before. It
    matters on short descents, which take next to nothing beside sections that take much.

    Parameters
    ----------
    covariance : (sections, sections) of their energy [Wh²], changed in place.
    wh : (sections,) their energy [Wh].
    """
    metres = sections.total(sections.ride.leg_distance_m)
    per_metre = np.divide(wh, metres, out=np.zeros(len(wh)), where=metres > 0)
    changes = np.array(sections.terrain[1:]) != np.array(sections.terrain[:-1])
    before = np.flatnonzero(changes)
    after = before + 1
    shift_m = np.minimum(edge_sd_m, np.minimum(metres[before], metres[after]) / 2.0)
    moved = np.square(shift_m * (per_metre[after] - per_metre[before]))
    covariance[before, before] += moved
    covariance[after, after] += moved
    covariance[before, after] -= moved
    covariance[after, before] -= moved


def _full_charge(estimate: Estimate, per_km: Measure, sd: float) -> Measure:
    """Usable capacity over consumption [km]."""
    if per_km.mean <= 0.0:  # a ride downhill with regeneration has no finite range
        return Measure(np.inf, np.inf)
    return Measure(estimate.loads.values["battery_usable_wh"] / per_km.mean, sd, ratio=True)


def _full_charge_slope(estimate: Estimate, per_km: Measure, km: float) -> FloatArray:
    """(u,) its derivative by the unknowns [km]; the correlation of the two is kept."""
    slope = estimate.cell_energy.total_slopes
    if per_km.mean <= 0.0:
        return np.zeros_like(slope)
    slope *= -estimate.loads.values["battery_usable_wh"] / per_km.mean**2 / km
    parameters = estimate.evidence.parameters
    by_score = parameters.slopes(estimate.solution.scores)
    slope[parameters.index["battery_usable_wh"]] += by_score["battery_usable_wh"] / per_km.mean
    return slope


def _cause_slopes(estimate: Estimate, causes: WeighedCauses, cell_wh: FloatArray) -> FloatArray:
    """(len(CAUSES), u) derivative of each cause's energy by the unknowns [Wh]."""
    return np.hstack(
        [
            _by_scores(estimate, causes),
            _by_stretch(estimate, cell_wh),
            _by_height(estimate, causes),
        ]
    )


def _by_scores(estimate: Estimate, causes: WeighedCauses) -> FloatArray:
    """By the parameters' scores; those of the display move no energy."""
    parameters, scores = estimate.evidence.parameters, estimate.solution.scores
    slopes = causes.by_parameter
    result = np.zeros((len(CAUSES), len(parameters)))
    for number, (name, by_score) in enumerate(parameters.slopes(scores).items()):
        if name in slopes:
            result[:, number] = slopes[name] * by_score
    return result


def _by_stretch(estimate: Estimate, cell_wh: FloatArray) -> FloatArray:
    cells = estimate.cells
    by_stretch = [np.bincount(cells.stretch, row, minlength=cells.stretches) for row in cell_wh]
    return np.stack(by_stretch) * cells.stretch_spread


def _by_height(estimate: Estimate, causes: WeighedCauses) -> FloatArray:
    """By the modes of the height error, which spreads over a section by length."""
    cells, rise_modes = estimate.cells, estimate.cell_energy.rise_modes
    weight_n = estimate.loads.values["mass_kg"] * STANDARD_GRAVITY_M_S2
    result = np.zeros((len(CAUSES), rise_modes.shape[1]))
    for cause, row in causes.per_work.items():
        by_cell = weight_n * cells.sums(row * cells.leg_share)
        by_section = np.bincount(cells.section, by_cell, len(rise_modes))
        result[CAUSES.index(cause)] = by_section @ rise_modes
    return result
