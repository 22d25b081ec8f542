"""Maximum a posteriori by Gauss–Newton, for unknowns with a unit normal prior.

Each step is the linear Gaussian estimate (Tarantola 2005, Inverse Problem Theory, ch. 3) around
the present point, shortened until the objective falls (Levenberg 1944, Q. Appl. Math. 2:164;
Marquardt 1963, J. SIAM 11:431).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.linalg.lapack import dposv, dpotrf, dpotri

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.errors import EstimateError

# Share of its weight that an outlier keeps in the curvature, so that steps stay bounded.
_LEAST_CURVATURE = 0.1
_IN_RESULT = 10.0  # how much longer a step may be in standard deviations of the result
_LEAST_DAMPING, _MOST_DAMPING = 0.1, 1e12  # of the prior's information, which is one
_AT_A_KINK = 0.01  # of the tolerance: where only steps that short lead up, the slope jumps
_NORMAL_DOF = 1e12  # so many degrees of freedom are as good as a normal error
_NOT_FINITE = "the estimate came to no finite numbers"


@dataclass(frozen=True, eq=False)
class Measurements:
    """Measured against predicted, at one point; arrays (m,) unless said otherwise.

    Parameters
    ----------
    residual : measured less predicted.
    slopes : (m, u) derivative of the predicted with respect to the unknowns.
    sd : standard deviation.
    dof : degrees of freedom of Student's t; infinite for a normal error.
    """

    residual: FloatArray
    slopes: FloatArray
    sd: FloatArray
    dof: FloatArray

    @cached_property
    def weight(self) -> FloatArray:
        """Share of its full weight that each measurement keeps, small for outliers."""
        dof = self._dof
        return np.asarray((dof + 1.0) / (dof + self._square))

    @property
    def curvature(self) -> FloatArray:
        """Second derivative of each measurement's misfit, in units of 1/sd²; kept positive.

        Beyond √dof standard deviations a heavy-tailed measurement no longer pulls harder the
        farther it is: it bends the misfit the other way, and tells next to nothing.
        """
        dof, square = self._dof, self._square
        bend = np.maximum((dof - square) / (dof + square), _LEAST_CURVATURE)
        return np.asarray(self.weight * bend)

    @property
    def misfit(self) -> float:
        """Negative log-likelihood up to a constant of the measurements."""
        dof = self._dof
        tails = 0.5 * (dof + 1.0) * np.log1p(self._square / dof)
        return float((tails + np.log(self.sd)).sum())

    @cached_property
    def _square(self) -> FloatArray:
        return np.square(self.residual / self.sd)

    @cached_property
    def _dof(self) -> FloatArray:
        return np.minimum(self.dof, _NORMAL_DOF)


@dataclass(frozen=True, eq=False)
class Solution:
    """Result of the search.

    Parameters
    ----------
    scores : (u,) most probable unknowns.
    began : measurements at the start.
    there : measurements where the last step was taken from.
    converged : False if the search ended for want of iterations.
    iterations : how many it took.
    """

    scores: FloatArray
    began: Measurements
    there: Measurements
    converged: bool
    iterations: int

    @cached_property
    def covariance(self) -> FloatArray:
        """(u, u) Laplace covariance there."""
        return laplace_covariance(self.there)


def maximise_posterior(
    measure: Callable[[FloatArray], Measurements],
    start: FloatArray,
    *,
    most_iterations: int,
    tolerance: float,
    near: bool = False,
) -> Solution:
    """Find the most probable unknowns and their covariance.

    Parameters
    ----------
    measure : gives the measurements and their derivatives at given unknowns.
    start : (u,) where to begin; zeros are the centers of the priors.
    tolerance : step that counts as standing still, in standard deviations of the prior; such a step
        is taken without another look.
    near : True if the start is known to be near the result.

    Raises
    ------
    EstimateError
        If the numbers are not finite.
    """
    scores, began = start, measure(start)
    now = began
    objective = now.misfit + 0.5 * float(scores @ scores)
    damping, growth, careful = 0.0, 2.0, not near
    before: FloatArray | None = None
    for iteration in range(1, most_iterations + 1):
        step, promised = _step(scores, now, damping, careful)
        # The information is at least the prior's, one: so much farther goes no free step. And
        # what a free step promises is half its square in standard deviations of the result.
        if float(np.max(np.abs(step), initial=0.0)) * (1.0 + damping) < tolerance or (
            damping == 0.0 and 2.0 * promised < (_IN_RESULT * tolerance) ** 2
        ):
            return Solution(scores + step, began, now, True, iteration)
        if damping > 0.0 and float(np.max(np.abs(step), initial=0.0)) < _AT_A_KINK * tolerance:
            return Solution(scores, began, now, True, iteration)
        longer = _lengthened(step, before) if damping == 0.0 else step
        moved = scores + longer
        trial = measure(moved)
        better = trial.misfit + 0.5 * float(moved @ moved)
        if better <= objective + 1e-9 * (1.0 + abs(objective)):
            damping = _relaxed(damping, (objective - better) / max(promised, 1e-300))
            scores, now, objective, growth = moved, trial, better, 2.0
            before, careful = (step if longer is step else None), False
        elif not careful:
            careful, before = True, None
        else:
            damping, before = max(_LEAST_DAMPING, damping * growth), None
            growth *= 2.0
            if damping > _MOST_DAMPING:  # no direction improves: this is the best point
                return Solution(scores, began, now, True, iteration)
    return Solution(scores, began, now, False, most_iterations)


def laplace_covariance(now: Measurements) -> FloatArray:
    """(u, u) inverse of the information of measurements and priors together."""
    factor, failed = dpotrf(_information(now, now.curvature, 0.0).T, lower=1)
    if failed:
        raise EstimateError(_NOT_FINITE)
    inverse = dpotri(factor, lower=1)[0]
    return np.where(lower_triangle(len(inverse)), inverse, inverse.T)


@lru_cache(maxsize=4)
def lower_triangle(size: int) -> BoolArray:
    """(size, size) True on the diagonal and below."""
    return np.tri(size, dtype=bool)


def in_result(step: FloatArray, now: Measurements) -> float:
    """Length of a step (u,) in standard deviations of the result."""
    felt = (now.slopes @ step) * (np.sqrt(now.curvature) / now.sd)
    return math.sqrt(felt @ felt + step @ step)


def _information(now: Measurements, curvature: FloatArray, damping: float) -> FloatArray:
    scaled = now.slopes * (np.sqrt(curvature) / now.sd)[:, None]
    information = scaled.T @ scaled
    information.flat[:: len(information) + 1] += 1.0 + damping
    return information


def _solved(information: FloatArray, right: FloatArray) -> FloatArray:
    """Solution of a system with a positive definite matrix, by its Cholesky factor."""
    # Symmetric, so the transpose is as good, and LAPACK need not copy it.
    _, solution, failed = dposv(information.T, right, lower=1, overwrite_a=True)
    if failed or not np.isfinite(solution).all():
        raise EstimateError(_NOT_FINITE)
    return np.asarray(solution)


def _step(
    scores: FloatArray, now: Measurements, damping: float, careful: bool
) -> tuple[FloatArray, float]:
    """The next step, and by how much it should lower the objective.

    With the weights for the curvature a step is one of expectation-maximisation, which lowers the
    objective wherever the predicted is linear (Lange, Little and Taylor 1989, J. Am. Stat. Assoc.
    84:881); with the true curvature it arrives sooner, from near by.
    """
    weight = now.weight
    pull = now.slopes.T @ (weight * now.residual / now.sd**2) - scores
    step = _solved(_information(now, weight if careful else now.curvature, damping), pull)
    return step, 0.5 * float(step @ (damping * step + pull))


def _lengthened(step: FloatArray, before: FloatArray | None) -> FloatArray:
    """A step of a sequence that shrinks by an even ratio, drawn out to where that would end.

    Aitken's extrapolation (1926, Proc. R. Soc. Edinb. 46:289), where two steps are parallel.
    """
    if before is None:
        return step
    length, last = math.sqrt(step @ step), math.sqrt(before @ before)
    if not 0.2 * last < length < 0.9 * last or step @ before < 0.95 * length * last:
        return step
    return step / (1.0 - length / last)


def _relaxed(damping: float, kept: float) -> float:
    """Damping after a step that kept some share of its promise.

    Less after a good step, more after one that went too far (Nielsen 1999, Damping parameter in
    Marquardt's method, report IMM-REP-1999-05).
    """
    if kept < 0.5:
        damping = max(damping, _LEAST_DAMPING)
    changed = damping * max(1.0 / 3.0, 1.0 - (2.0 * min(kept, 1.0) - 1.0) ** 3)
    return 0.0 if changed < 0.5 * _LEAST_DAMPING else changed
