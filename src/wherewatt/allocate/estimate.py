"""The estimate of one ride: parameters, discrepancy and height error, all at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.callouts import Load, Prediction
from wherewatt.allocate.cells import CellEnergy, Cells
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.gauss_newton import Measurements, Solution, maximise_posterior
from wherewatt.allocate.loads import Loads
from wherewatt.allocate.problem import RideProblem
from wherewatt.arrays import FloatArray
from wherewatt.errors import EstimateError


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
    meter_v : (v,) what a meter should have shown at the call-outs of voltage [V].
    voltage_weight : (v,) share of its full weight each of these kept.
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
    meter_v: FloatArray
    voltage_weight: FloatArray

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
    problem = RideProblem(evidence)
    solution, load = _settled(problem)
    scores = solution.scores
    final = problem.at(scores, load)
    count, volts = len(evidence.shown), len(evidence.voltage)
    # Call-outs of percent come first among the measurements, those of voltage next.
    weight = final.measurements.weight
    return Estimate(
        evidence=evidence,
        cells=problem.cells,
        height_modes=problem.height_modes,
        solution=solution,
        loads=final.loads,
        cell_energy=final.energy,
        leg_factor=final.leg_factor,
        display=final.display,
        callout_weight=weight[:count],
        meter_v=final.voltage.volts if final.voltage else np.zeros(0),
        voltage_weight=weight[count : count + volts],
    )


def _settled(problem: RideProblem) -> tuple[Solution, Load]:
    """Search in rounds; after each the load at the call-outs is that of its result."""
    settings = problem.evidence.settings
    scores = problem.start()
    load = problem.load_at(scores)
    for _ in range(settings.most_rounds):

        def measure(trial: FloatArray, load: Load = load) -> Measurements:
            return problem.at(trial, load).measurements

        solution = maximise_posterior(
            measure,
            scores,
            most_iterations=settings.most_iterations,
            tolerance=settings.tolerance,
        )
        if not np.isfinite(solution.scores).all():
            raise EstimateError("the estimate came to no finite numbers")
        moved = float(np.max(np.abs(solution.scores - scores)))
        scores = solution.scores
        if moved < settings.settled:
            return solution, load
        load = problem.load_at(scores)
    return replace(solution, converged=False), load
