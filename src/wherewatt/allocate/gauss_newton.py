"""Maximum a posteriori by Gauss–Newton, for unknowns with a unit normal prior.

Each step is the linear Gaussian estimate (Tarantola 2005, Inverse Problem Theory, ch. 3) around
the present point, shortened until the objective falls (Levenberg 1944, Q. Appl. Math. 2:164;
Marquardt 1963, J. SIAM 11:431).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from wherewatt.arrays import FloatArray

# Share of its weight that an outlier keeps in the curvature, so that steps stay bounded.
_LEAST_CURVATURE = 0.1
_IN_RESULT = 10.0  # how much longer a step may be in standard deviations of the result
_LEAST_DAMPING = 0.1  # of the prior's information, which is one


@dataclass(frozen=True, slots=True, eq=False)
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

    @property
    def weight(self) -> FloatArray:
        """Share of its full weight that each measurement keeps, small for outliers."""
        square = np.square(self.residual / self.sd)
        heavy = np.isfinite(self.dof)
        dof = np.where(heavy, self.dof, 1.0)
        return np.where(heavy, (dof + 1.0) / (dof + square), 1.0)

    @property
    def curvature(self) -> FloatArray:
        """Second derivative of each measurement's misfit, in units of 1/sd²; kept positive.

        Beyond √dof standard deviations a heavy-tailed measurement no longer pulls harder the
        farther it is: it bends the misfit the other way, and tells next to nothing.
        """
        square = np.square(self.residual / self.sd)
        heavy = np.isfinite(self.dof)
        dof = np.where(heavy, self.dof, 1.0)
        bent = (dof + 1.0) * (dof - square) / np.square(dof + square)
        return np.where(heavy, np.maximum(bent, _LEAST_CURVATURE * self.weight), 1.0)

    @property
    def misfit(self) -> float:
        """Negative log-likelihood up to a constant of the measurements."""
        square = np.square(self.residual / self.sd)
        heavy = np.isfinite(self.dof)
        dof = np.where(heavy, self.dof, 1.0)
        tails = 0.5 * (dof + 1.0) * np.log1p(square / dof)
        return float(np.sum(np.where(heavy, tails, 0.5 * square) + np.log(self.sd)))


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Result of the search.

    Parameters
    ----------
    scores : (u,) most probable unknowns.
    covariance : (u, u) Laplace covariance there.
    converged : False if the search ended for want of iterations.
    iterations : how many it took.
    """

    scores: FloatArray
    covariance: FloatArray
    converged: bool
    iterations: int


def maximise_posterior(
    measure: Callable[[FloatArray], Measurements],
    start: FloatArray,
    *,
    most_iterations: int,
    tolerance: float,
) -> Solution:
    """Find the most probable unknowns and their covariance.

    Parameters
    ----------
    measure : gives the measurements and their derivatives at given unknowns.
    start : (u,) where to begin; zeros are the centers of the priors.
    tolerance : step that counts as standing still, in standard deviations of the prior.
    """
    scores = start
    now = measure(scores)
    objective = now.misfit + 0.5 * float(scores @ scores)
    damping, growth = 0.0, 2.0
    before: FloatArray | None = None
    converged = False
    iteration = 0
    while iteration < most_iterations and not converged:
        iteration += 1
        step, promised = _step(scores, now, damping)
        # The information is at least the prior's, one: so much farther goes no free step. And
        # what a free step promises is half its square in standard deviations of the result.
        arrived = float(np.max(np.abs(step), initial=0.0)) * (1.0 + damping) < tolerance or (
            damping == 0.0 and 2.0 * promised < (_IN_RESULT * tolerance) ** 2
        )
        longer = _lengthened(step, before) if damping == 0.0 else step
        moved = scores + longer
        trial = measure(moved)
        better = trial.misfit + 0.5 * float(moved @ moved)
        if better <= objective + 1e-9 * (1.0 + abs(objective)):
            damping = _relaxed(damping, (objective - better) / max(promised, 1e-300))
            scores, now, objective, growth = moved, trial, better, 2.0
            before = step if longer is step else None
            converged = arrived
        elif arrived:
            converged = True
        else:
            damping, before = max(_LEAST_DAMPING, damping * growth), None
            growth *= 2.0
            converged = damping > 1e12  # no direction improves: this is the best point
    covariance = cho_solve(cho_factor(_information(now, 0.0)), np.eye(len(start)))
    return Solution(scores, (covariance + covariance.T) / 2.0, converged, iteration)


def _information(now: Measurements, damping: float) -> FloatArray:
    scaled = now.slopes * (np.sqrt(now.curvature) / now.sd)[:, None]
    return scaled.T @ scaled + (1.0 + damping) * np.eye(now.slopes.shape[1])


def _step(scores: FloatArray, now: Measurements, damping: float) -> tuple[FloatArray, float]:
    """The next step, and by how much it should lower the objective."""
    pull = now.slopes.T @ (now.weight * now.residual / now.sd**2) - scores
    step = np.asarray(cho_solve(cho_factor(_information(now, damping)), pull))
    return step, 0.5 * float(step @ (damping * step + pull))


def _lengthened(step: FloatArray, before: FloatArray | None) -> FloatArray:
    """A step of a sequence that shrinks by an even ratio, drawn out to where that would end.

    Aitken's extrapolation (1926, Proc. R. Soc. Edinb. 46:289), where two steps are parallel.
    """
    if before is None:
        return step
    length, last = float(np.linalg.norm(step)), float(np.linalg.norm(before))
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
