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
    tolerance : largest step that counts as standing still.
    """
    scores = start
    now = measure(scores)
    objective = now.misfit + 0.5 * float(scores @ scores)
    damping, growth = 0.0, 2.0
    converged = False
    iteration = 0
    while iteration < most_iterations and not converged:
        iteration += 1
        step, promised = _step(scores, now, damping)
        trial = measure(scores + step)
        moved = scores + step
        better = trial.misfit + 0.5 * float(moved @ moved)
        if better <= objective + 1e-9 * (1.0 + abs(objective)):
            # The information is at least the prior's, one: so much farther goes no free step.
            converged = float(np.max(np.abs(step), initial=0.0)) * (1.0 + damping) < tolerance
            kept = (objective - better) / max(promised, 1e-300)
            damping = _relaxed(damping, kept)
            scores, now, objective, growth = moved, trial, better, 2.0
        else:
            damping = max(_LEAST_DAMPING, damping * growth)
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


def _relaxed(damping: float, kept: float) -> float:
    """Damping after a step that kept some share of its promise.

    Less after a good step, more after one that went too far (Nielsen 1999, Damping parameter in
    Marquardt's method, report IMM-REP-1999-05).
    """
    if kept < 0.5:
        damping = max(damping, _LEAST_DAMPING)
    changed = damping * max(1.0 / 3.0, 1.0 - (2.0 * min(kept, 1.0) - 1.0) ** 3)
    return 0.0 if changed < 0.5 * _LEAST_DAMPING else changed
