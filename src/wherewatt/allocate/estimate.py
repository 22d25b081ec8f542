"""The estimate of one ride: parameters, discrepancy and height error, all at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.callouts import (
    Load,
    Prediction,
    ShownPercent,
    display_sd,
    predict_display,
)
from wherewatt.allocate.cells import CellEnergy, Cells, cell_energy, cut_cells
from wherewatt.allocate.gauss_newton import Measurements, Solution, maximise_posterior
from wherewatt.allocate.loads import Legs, Loads, leg_loads
from wherewatt.allocate.parameters import Parameters
from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import FloatArray
from wherewatt.errors import EstimateError
from wherewatt.ingest.sheet import RechargeSheet
from wherewatt.sections.cutting import Sections
from wherewatt.units import JOULES_PER_WATT_HOUR, STANDARD_GRAVITY_M_S2

_SAG_WINDOW_S = 15.0  # a display filters the voltage over some seconds; common practice, no source
_LATE_WINDOW_S = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """All that the estimate is made from.

    Parameters
    ----------
    sections : the cut ride, with a point at every call-out.
    legs : the same legs as the loads need them.
    parameters : unknowns with their priors.
    height_covariance : (sections + 1)² covariance of the height at the section edges [m²].
    shown : call-outs of percent.
    recharge : energy put back.
    settings : the estimate's settings.
    """

    sections: Sections
    legs: Legs
    parameters: Parameters
    height_covariance: FloatArray
    shown: ShownPercent
    recharge: RechargeSheet
    settings: EstimateSettings


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """What was found, at its most probable.

    Parameters
    ----------
    evidence : what it was made from.
    cells : the cells it was made on.
    height_modes : (sections + 1, h) height error at the section edges per unit score [m].
    solution : most probable scores and their covariance.
    loads : energies of the legs at the most probable parameters, before the discrepancy.
    cell_energy : energy of the cells and its derivatives.
    leg_factor : (n,) discrepancy factor of each leg.
    display : what the display should have shown at the call-outs.
    callout_weight : (m,) share of its full weight each call-out kept.
    """

    evidence: Evidence
    cells: Cells
    height_modes: FloatArray
    solution: Solution
    loads: Loads
    cell_energy: CellEnergy
    leg_factor: FloatArray
    display: Prediction
    callout_weight: FloatArray

    @property
    def values(self) -> dict[str, float]:
        """Most probable parameters in their own units."""
        return self.evidence.parameters.values(self.solution.scores)

    @property
    def value_sds(self) -> dict[str, float]:
        """Standard deviations of the parameters in their own units."""
        sd = np.sqrt(np.diag(self.solution.covariance))
        slopes = self.evidence.parameters.slopes(self.solution.scores)
        return {name: abs(slope) * float(sd[i]) for i, (name, slope) in enumerate(slopes.items())}


def estimate_ride(evidence: Evidence) -> Estimate:
    """Most probable energy of every leg, with the covariance of all unknowns.

    Raises
    ------
    EstimateError
        If the numbers are not finite.
    """
    problem = _Problem(evidence)
    settings = evidence.settings
    scores = problem.start()
    load = problem.load_at(scores)
    for _ in range(settings.most_rounds):
        solution = maximise_posterior(
            lambda trial, load=load: problem.at(trial, load).measurements,
            scores,
            most_iterations=settings.most_iterations,
            tolerance=settings.tolerance,
        )
        if not np.isfinite(solution.scores).all():
            raise EstimateError("the estimate came to no finite numbers")
        moved = float(np.max(np.abs(solution.scores - scores)))
        scores = solution.scores
        if moved < settings.settled:
            break
        load = problem.load_at(scores)
    solution = replace(solution, converged=solution.converged and moved < settings.settled)
    final = problem.at(scores, load)
    count = len(evidence.shown)
    return Estimate(
        evidence=evidence,
        cells=problem.cells,
        height_modes=problem.height_modes,
        solution=solution,
        loads=final.loads,
        cell_energy=final.energy,
        leg_factor=final.leg_factor,
        display=final.display,
        callout_weight=final.measurements.weight[:count],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    """Everything at one set of scores."""

    loads: Loads
    energy: CellEnergy
    leg_factor: FloatArray
    display: Prediction
    measurements: Measurements


class _Problem:
    """The unknowns of a ride and what they predict."""

    def __init__(self, evidence: Evidence) -> None:
        self.evidence = evidence
        self.cells = cut_cells(
            evidence.sections, evidence.shown, stretch_m=evidence.settings.stretch_m
        )
        self.height_modes = _square_root(evidence.height_covariance)
        self.p = len(evidence.parameters)
        self.unknowns = self.p + self.cells.stretches + self.height_modes.shape[1]

    def start(self) -> FloatArray:
        """The priors' centers, but with the charge at the start that the call-outs suggest."""
        scores = np.zeros(self.unknowns)
        shown, parameters = self.evidence.shown, self.evidence.parameters
        if len(shown):
            used = self.load_at(scores).used_share
            number = parameters.index["start_charge"]
            prior = parameters.items[number].prior
            at_start = float(np.median(shown.percent / 100.0 + used))
            scores[number] = (at_start - prior.center) / prior.spread
        return scores

    def at(self, scores: FloatArray, load: Load) -> _Point:
        evidence, cells = self.evidence, self.cells
        values = evidence.parameters.values(scores)
        rise = _height_error(self.height_modes, scores[self.p + cells.stretches :], evidence, cells)
        loads = leg_loads(replace(evidence.legs, rise_m=evidence.legs.rise_m + rise), values)
        slopes = evidence.parameters.slopes(scores)
        nothing = np.zeros_like(loads.battery_j)
        by_score = np.stack(
            [loads.slopes.get(name, nothing) * slope for name, slope in slopes.items()]
        )
        spread = evidence.settings.stretch_spread
        log_factors = spread * scores[self.p : self.p + cells.stretches]
        energy = cell_energy(
            cells,
            loads,
            parameter_slopes=by_score,
            log_factors=log_factors,
            stretch_spread=spread,
            height_modes=self.height_modes,
            weight_n=values["mass_kg"] * STANDARD_GRAVITY_M_S2,
        )
        leg_factor = np.repeat(
            np.exp(log_factors)[cells.stretch],
            np.diff(np.append(cells.first_leg, len(loads.battery_j))),
        )
        used = np.concatenate([[0.0], np.cumsum(energy.wh)])[cells.before]
        display = predict_display(evidence.shown, used, load, values)
        sd = display_sd(load, evidence.settings)
        measurements = self._measurements(energy, display, sd, values, slopes)
        return _Point(loads, energy, leg_factor, display, measurements)

    def load_at(self, scores: FloatArray) -> Load:
        """What the battery did at the call-outs, at given scores."""
        shown, values = self.evidence.shown, self.evidence.parameters.values(scores)
        idle = Load(*(np.zeros(len(shown)) for _ in range(4)), values["battery_usable_wh"])
        point = self.at(scores, idle)
        time = self.evidence.sections.ride.time_s
        counter = np.concatenate([[0.0], np.cumsum(point.loads.battery_j * point.leg_factor)])

        def mean_power(window_s: float) -> FloatArray:
            start = np.maximum(shown.time_s - window_s, time[0])
            spent = np.interp(shown.time_s, time, counter) - np.interp(start, time, counter)
            return spent / np.maximum(shown.time_s - start, 1.0)

        used = np.interp(shown.time_s, time, counter) / JOULES_PER_WATT_HOUR
        return Load(
            now_w=mean_power(_SAG_WINDOW_S),
            lately_w=mean_power(_LATE_WINDOW_S),
            used_share=used / values["battery_usable_wh"],
            left=values["start_charge"] - used / values["battery_usable_wh"],
            capacity_wh=values["battery_usable_wh"],
        )

    def _measurements(
        self,
        energy: CellEnergy,
        display: Prediction,
        display_sd: FloatArray,
        values: dict[str, float],
        slopes: dict[str, float],
    ) -> Measurements:
        evidence, settings = self.evidence, self.evidence.settings
        so_far = np.vstack([np.zeros(self.unknowns), np.cumsum(energy.slopes, axis=0)])
        rows = [display.per_used[:, None] * so_far[self.cells.before]]
        index = evidence.parameters.index
        for name, slope in display.slopes.items():
            rows[0][:, index[name]] += slope * slopes[name]
        residuals = [evidence.shown.percent - display.percent]
        sds = [display_sd]
        total, total_row = float(energy.wh.sum()), energy.slopes.sum(axis=0)
        for measured, spread, name in (
            (evidence.recharge.metered_wh, settings.metered_spread, None),
            (evidence.recharge.wall_energy_wh, settings.wall_energy_spread, "charger_efficiency"),
        ):
            if measured is None:
                continue
            row = total_row / measured
            predicted = total / measured
            if name is not None:  # battery energy = efficiency × wall energy
                row = row / values[name]
                predicted /= values[name]
                row[index[name]] -= predicted / values[name] * slopes[name]
            rows.append(row[None])
            residuals.append(np.array([1.0 - predicted]))
            sds.append(np.array([spread]))
        heavy = np.full(len(evidence.shown), settings.student_dof)
        normal = np.full(len(residuals) - 1, np.inf)
        return Measurements(
            residual=np.concatenate(residuals),
            slopes=np.concatenate(rows),
            sd=np.concatenate(sds),
            dof=np.concatenate([heavy, normal]),
        )


def _square_root(covariance: FloatArray) -> FloatArray:
    """Columns that make up a covariance; only those that matter."""
    level, modes = np.linalg.eigh(covariance)
    keep = level > 1e-9 * max(float(level[-1]), 1e-300)
    return np.asarray(modes[:, keep] * np.sqrt(level[keep]))


def _height_error(
    modes: FloatArray, scores: FloatArray, evidence: Evidence, cells: Cells
) -> FloatArray:
    """(n,) estimated error of each leg's rise [m]: spread evenly over the section's way."""
    at_edges = modes @ scores
    return np.diff(at_edges)[evidence.sections.leg_section] * cells.leg_share
