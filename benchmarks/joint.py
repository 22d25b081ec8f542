"""One search over several rides of one vehicle, which differ as wholes.

The vehicle's parameters are common, everything else is each ride's own, and each ride has one
more unknown: a factor on all of its energy (rider, tyre pressure, wet road, riding mode), normal in
the logarithm around one. How far rides differ is not assumed: of a few spreads the one is taken
under which these rides' call-outs are most probable (Laplace's approximation of the evidence;
MacKay 1992, Neural Comput. 4:415).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from benchmarks.pooling import Knowledge, handbook
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.gauss_newton import Measurements, Solution, maximise_posterior
from wherewatt.allocate.problem import RideProblem
from wherewatt.arrays import FloatArray, IntArray

SPREADS = (0.05, 0.1, 0.2, 0.4, 0.8)
_ROUNDS = 2  # of renewing the load at the call-outs


@dataclass(frozen=True, slots=True, eq=False)
class _Share:
    """One ride's part in the search.

    Parameters
    ----------
    problem : the ride alone.
    place : (u,) where each unknown of the ride stands among those of the search.
    factor : where the ride's own factor stands.
    per_factor : (u,) change of the ride's scores for one standard deviation of its factor.
    """

    problem: RideProblem
    place: IntArray
    factor: int
    per_factor: FloatArray

    def scores(self, joint: FloatArray) -> FloatArray:
        """The ride's scores; its factor shifts the discrepancy of all stretches alike."""
        return np.asarray(joint[self.place] + joint[self.factor] * self.per_factor)

    def spread_out(self, own: Measurements, unknowns: int) -> Measurements:
        """The ride's measurements with derivatives by all unknowns of the search."""
        slopes = np.zeros((len(own.residual), unknowns))
        slopes[:, self.place] = own.slopes
        slopes[:, self.factor] = own.slopes @ self.per_factor
        return replace(own, slopes=slopes)


class JointProblem:
    """Several rides of one vehicle, with a spread of the rides' factors."""

    def __init__(self, evidence: Sequence[Evidence], ride_spread: float) -> None:
        self.names = handbook(evidence[0]).names
        self.unknowns = len(self.names)
        self.shares = [self._share(RideProblem(one), ride_spread) for one in evidence]

    def _share(self, problem: RideProblem, ride_spread: float) -> _Share:
        index = problem.evidence.parameters.index
        own = np.ones(problem.unknowns, dtype=bool)
        own[[index[name] for name in self.names]] = False
        place = np.empty(problem.unknowns, dtype=np.intp)
        place[[index[name] for name in self.names]] = np.arange(len(self.names))
        place[own] = self.unknowns + np.arange(own.sum())
        self.unknowns += int(own.sum()) + 1
        stretches = slice(problem.p, problem.p + problem.cells.stretches)
        per_factor = np.zeros(problem.unknowns)
        per_factor[stretches] = ride_spread / problem.cells.stretch_spread
        return _Share(problem, place, self.unknowns - 1, per_factor)

    def start(self) -> FloatArray:
        """Where each ride alone would start, the vehicle at the handbook's."""
        scores = np.zeros(self.unknowns)
        for share in self.shares:
            center = share.problem.around(np.zeros(share.problem.unknowns))
            scores[share.place] = share.problem.start_from(center)
        scores[: len(self.names)] = 0.0
        return scores

    def solve(self, start: FloatArray) -> tuple[Solution, float]:
        """Most probable scores, and the logarithm of the evidence up to a constant."""
        scores = start
        for _ in range(_ROUNDS):
            measure = self._measure_around(scores)
            solution = maximise_posterior(measure, scores, most_iterations=50, tolerance=1e-2)
            scores = solution.scores
        loss = measure(scores).misfit + 0.5 * float(scores @ scores)
        return solution, 0.5 * float(np.linalg.slogdet(solution.covariance)[1]) - loss

    def _measure_around(self, scores: FloatArray) -> Callable[[FloatArray], Measurements]:
        loads = [share.problem.load_at(share.scores(scores)) for share in self.shares]

        def measure(trial: FloatArray) -> Measurements:
            parts = [
                share.spread_out(
                    share.problem.at(share.scores(trial), load).measurements, self.unknowns
                )
                for share, load in zip(self.shares, loads, strict=True)
            ]
            return Measurements(
                *(
                    np.concatenate([getattr(part, field.name) for part in parts])
                    for field in fields(Measurements)
                )
            )

        return measure


def learn(evidence: Sequence[Evidence]) -> Knowledge:
    """What rides of one vehicle say of it and of how far its rides differ."""
    problems = [JointProblem(evidence, spread) for spread in SPREADS]
    solved: list[tuple[Solution, float]] = []
    scores = problems[0].start()
    for problem in problems:  # each from the last one's result: it is near
        solved.append(problem.solve(scores))
        scores = solved[-1][0].scores
    best = int(np.argmax([log_evidence for _, log_evidence in solved]))
    names, solution = problems[best].names, solved[best][0]
    p = len(names)
    return Knowledge(names, solution.scores[:p], solution.covariance[:p, :p], SPREADS[best])
