"""The estimate of one ride: parameters, discrepancy and height error, all at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.callouts import Prediction
from wherewatt.allocate.cells import CellEnergy, Cells
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.gauss_newton import (
    Measurements,
    in_result,
    laplace_covariance,
    maximise_posterior,
)
from wherewatt.allocate.informed import RideSolution
from wherewatt.allocate.loads import Loads
from wherewatt.allocate.problem import Around, RideProblem, View
from wherewatt.arrays import FloatArray
from wherewatt.errors import EstimateError

_FINER = 0.05  # a round is searched so much finer than the last one moved
_IN_RESULT = 0.05  # a round that moved less, in standard deviations of the result, ends the search
_NEAR = 0.3  # a round that moved less brought the search near its end, in prior deviations
_PARALLEL = 0.5  # cosine between the steps of two rounds that are taken as one movement
_WHOLE_ROUNDS = 8  # after which less of each is gone whenever one moved more than the last
_FARTHEST = 9.0  # times the last movement, that one is drawn out


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """What was found, at its most probable.

    Parameters
    ----------
    evidence : what it was made from.
    cells : the cells it was made on.
    solution : most probable scores and their covariance.
    loads : energies of the legs at the most probable parameters, before the discrepancy.
    cell_energy : energy of the cells and its derivatives.
    beforehand : the same at the priors' centers.
    leg_factor : (n,) discrepancy factor of each leg.
    display : what the display should have shown at the call-outs.
    callout_weight : (m,) share of its full weight each call-out kept.
    meter_v : (v,) what a meter should have shown at the call-outs of voltage [V].
    voltage_weight : (v,) share of its full weight each of these kept.
    """

    evidence: Evidence
    cells: Cells
    solution: RideSolution
    loads: Loads
    cell_energy: CellEnergy
    beforehand: CellEnergy
    leg_factor: FloatArray
    display: Prediction
    callout_weight: FloatArray
    meter_v: FloatArray
    voltage_weight: FloatArray

    @property
    def height_modes(self) -> FloatArray:
        """(sections + 1, h) height error at the section edges per unit score [m]."""
        modes = self.cell_energy.rise_modes
        return np.vstack([np.zeros(modes.shape[1]), np.cumsum(modes, axis=0)])

    @property
    def values(self) -> dict[str, float]:
        """Most probable parameters in their own units."""
        return self.evidence.parameters.values(self.solution.scores)

    @property
    def value_sds(self) -> dict[str, float]:
        """Standard deviations of the parameters in their own units."""
        sd = np.sqrt(np.diag(self.solution.of_parameters))
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
    center = problem.around(np.zeros(problem.unknowns))
    found = _settled(problem, center)
    around, view, now = found.around, found.view, found.now
    display, voltage = view.predict(view.start)
    count, volts = len(evidence.shown), len(evidence.voltage)
    return Estimate(
        evidence=evidence,
        cells=problem.cells,
        solution=RideSolution(
            scores=around.scores,
            informed=view.informed,
            told=laplace_covariance(now),
            converged=found.converged,
            iterations=found.iterations,
        ),
        loads=around.loads,
        cell_energy=around.energy,
        beforehand=center.energy,
        leg_factor=problem.leg_factor(around.scores),
        display=display,
        # Call-outs of percent come first among the measurements, those of voltage next.
        callout_weight=now.weight[:count],
        meter_v=voltage.volts if voltage else np.zeros(0),
        voltage_weight=now.weight[count : count + volts],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Settled:
    """Where the search ended, what was measured against it, and how it ended."""

    around: Around
    view: View
    now: Measurements
    converged: bool
    iterations: int


def _settled(problem: RideProblem, center: Around) -> _Settled:
    """Search in rounds; each sees the ride from where the last one ended."""
    settings = problem.evidence.settings
    around = problem.started(center)
    before: tuple[FloatArray, FloatArray] | None = None
    moved, last_moved, share = 1.0, 1.0, 1.0
    for number in range(settings.most_rounds):
        view = problem.view(around, problem.load_of(around))
        found = maximise_posterior(
            view.measure,
            view.start,
            most_iterations=settings.most_iterations,
            tolerance=max(settings.tolerance, _FINER * min(1.0, moved)),
            near=moved < _NEAR,
        )
        scores = view.informed.scores(found.scores)
        if not np.isfinite(scores).all():
            raise EstimateError("the estimate came to no finite numbers")
        step = scores - around.scores
        moved = float(np.max(np.abs(step)))
        if (
            moved < settings.settled
            and in_result(found.scores - view.start, found.there) < _IN_RESULT
        ):
            return _Settled(around, view, found.began, found.converged, found.iterations)
        if number >= _WHOLE_ROUNDS and moved > last_moved:
            share /= 2.0
        gone = around.scores + share * step, share * step
        around = problem.around(_mixed(*gone, before))
        before, last_moved = gone, moved
    view = problem.view(around, problem.load_of(around))
    return _Settled(around, view, view.measure(view.start), False, found.iterations)


def _mixed(
    scores: FloatArray, step: FloatArray, before: tuple[FloatArray, FloatArray] | None
) -> FloatArray:
    """Where to look from next: where two rounds that go to and fro, or ever on, would end.

    Anderson's mixing of the last two rounds (1965, J. ACM 12:547), where their steps are parallel.

    Parameters
    ----------
    scores, step : result of the round, and its distance from where the round looked from.
    before : the same of the round before.
    """
    if before is None:
        return scores
    last_scores, last_step = before
    if np.max(np.abs(step)) > np.max(np.abs(last_step)):  # the last was drawn too far
        return scores
    lengths = float(np.linalg.norm(step) * np.linalg.norm(last_step))
    if abs(float(step @ last_step)) < _PARALLEL * lengths:
        return scores
    change = step - last_step
    share = float(step @ change) / max(float(change @ change), 1e-300)
    return scores - min(max(share, -_FARTHEST), 1.0) * (scores - last_scores)
