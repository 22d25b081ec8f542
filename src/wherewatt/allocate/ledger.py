"""The ledger: energy of every section by cause, with what is known of the errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.loads import CAUSES, leg_loads
from wherewatt.arrays import FloatArray
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
    def section_measures(self) -> list[Measure]:
        """Energy of each section [Wh]."""
        sd = np.sqrt(np.diag(self.section_covariance))
        return [
            Measure(float(mean), float(spread))
            for mean, spread in zip(self.section_wh.sum(axis=0), sd, strict=True)
        ]


def build_ledger(estimate: Estimate) -> Ledger:
    """Sum an estimate by section and cause; every sum is a sum over legs."""
    sections = estimate.evidence.sections
    covariance = estimate.solution.covariance
    leg_wh = estimate.loads.causes * estimate.leg_factor / JOULES_PER_WATT_HOUR
    section_wh = np.stack([sections.total(row) for row in leg_wh])
    slopes = np.zeros((len(sections), covariance.shape[0]))
    np.add.at(slopes, estimate.cells.section, estimate.cell_energy.slopes)
    total_slope = slopes.sum(axis=0)
    total = Measure(float(section_wh.sum()), _sd(total_slope, covariance))
    km = float(sections.ride.distance_m[-1]) / 1000.0
    per_km = Measure(total.mean / km, total.sd / km)
    cause_slopes = _cause_slopes(estimate, leg_wh)
    by_cause = {
        cause: Measure(float(row.sum()), _sd(slope, covariance))
        for cause, row, slope in zip(CAUSES, section_wh, cause_slopes, strict=True)
    }
    return Ledger(
        leg_wh=leg_wh,
        section_wh=section_wh,
        section_covariance=slopes @ covariance @ slopes.T,
        total=total,
        by_cause=by_cause,
        wh_per_km=per_km,
        full_charge_km=_full_charge(estimate, per_km, total_slope / km),
    )


def _sd(slope: FloatArray, covariance: FloatArray) -> float:
    return float(np.sqrt(max(0.0, float(slope @ covariance @ slope))))


def _full_charge(estimate: Estimate, per_km: Measure, per_km_slope: FloatArray) -> Measure:
    """Usable capacity over consumption [km]; the correlation of the two is kept."""
    capacity = estimate.values["battery_usable_wh"]
    if per_km.mean <= 0.0:  # a ride downhill with regeneration has no finite range
        return Measure(np.inf, np.inf)
    slope = -capacity / per_km.mean**2 * per_km_slope
    index = estimate.evidence.parameters.index["battery_usable_wh"]
    by_score = estimate.evidence.parameters.slopes(estimate.solution.scores)
    slope[index] += by_score["battery_usable_wh"] / per_km.mean
    return Measure(capacity / per_km.mean, _sd(slope, estimate.solution.covariance), ratio=True)


def _cause_slopes(estimate: Estimate, leg_wh: FloatArray) -> FloatArray:
    """(len(CAUSES), u) derivative of each cause's energy by the unknowns [Wh].

    By differences for the parameters, which are few; exact for the discrepancy and the height.
    """
    scores = estimate.solution.scores
    return np.hstack(
        [
            _by_parameters(estimate, scores),
            _by_stretch(estimate, leg_wh),
            _by_height(estimate),
        ]
    )


def _by_parameters(estimate: Estimate, scores: FloatArray) -> FloatArray:
    parameters, legs = estimate.evidence.parameters, estimate.evidence.legs
    weight = estimate.leg_factor / JOULES_PER_WATT_HOUR
    result = np.zeros((len(CAUSES), len(parameters)))
    step = 1e-4
    at_center = leg_loads(legs, parameters.values(scores)).causes @ weight
    for number, item in enumerate(parameters.items):
        if item.name not in estimate.loads.slopes:
            continue  # a parameter of the display: it moves no energy
        moved = scores.copy()
        moved[number] += step
        at_moved = leg_loads(legs, parameters.values(moved)).causes @ weight
        result[:, number] = (at_moved - at_center) / step
    return result


def _by_stretch(estimate: Estimate, leg_wh: FloatArray) -> FloatArray:
    by_cell = estimate.cells.sums(leg_wh)
    result = np.zeros((len(CAUSES), estimate.cells.stretches))
    np.add.at(result.T, estimate.cells.stretch, by_cell.T)
    return result * estimate.cells.stretch_spread


def _by_height(estimate: Estimate) -> FloatArray:
    evidence, loads = estimate.evidence, estimate.loads
    modes = estimate.height_modes
    values = estimate.values
    returned = values.get("regenerative_share", 0.0)
    efficiency = values["drivetrain_efficiency"]
    idle = returned * efficiency  # gain of a leg that only brakes
    driving = (loads.wheel_gain - idle) / (1.0 / efficiency - idle)
    per_metre = (
        values["mass_kg"]
        * STANDARD_GRAVITY_M_S2
        * estimate.cells.leg_share
        * estimate.leg_factor
        / JOULES_PER_WATT_HOUR
    )
    effect = {
        "height": per_metre,
        "brakes": -(1.0 - returned) * (1.0 - driving) * per_metre,
        "drivetrain": (
            driving * (1.0 / efficiency - 1.0) - (1.0 - driving) * returned * (1.0 - efficiency)
        )
        * per_metre,
    }
    result = np.zeros((len(CAUSES), modes.shape[1]))
    for cause, row in effect.items():
        by_section = np.bincount(evidence.sections.leg_section, weights=row)
        result[CAUSES.index(cause)] = by_section @ np.diff(modes, axis=0)
    return result
