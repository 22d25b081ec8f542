"""The few directions among many unknowns that measurements can tell apart.

Instruments feel a ride's stretches and heights only through the energy used by a few knots. Seen
from there, what is unknown of them is as many normal variables as there are knots; all others
keep their prior, which is exact for what depends linearly on them (Tarantola 2005, Inverse Problem
Theory, section 3.2; Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, ch. 2).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg.lapack import dpotrf, dpstrf, dtrtrs

from wherewatt.allocate.cells import CellEnergy
from wherewatt.allocate.gauss_newton import lower_triangle
from wherewatt.allocate.runs import Runs
from wherewatt.arrays import FloatArray, IntArray

# Of the greatest variance; what is less is rounding, or no concern of any instrument.
_LEAST_VARIANCE = 1e-10
_LEAST_GONE = 1e-14  # of the greatest variance that a measurement took away


def pivoted_root(covariance: FloatArray, least: float) -> tuple[FloatArray, IntArray]:
    """Root R (k, r) of a covariance R·Rᵀ (k, k) of rank r, and the rows (r,) that span it.

    Cholesky factor, pivoted where the rank is not full (Higham 2002, Accuracy and Stability of
    Numerical Algorithms, ch. 10); what is left when it ends is less than `least` of the greatest
    variance.
    """
    greatest = float(np.max(np.diag(covariance), initial=0.0))
    if not greatest > 0.0:
        return np.zeros((len(covariance), 0)), np.zeros(0, dtype=np.intp)
    lower, failed = dpotrf(covariance.T, lower=1)
    if not failed and float(np.min(np.diag(lower))) ** 2 > least * greatest:
        return lower, np.arange(len(covariance))
    lower, pivot, rank, _ = dpstrf(covariance, tol=least * greatest, lower=1)
    pivot -= 1
    root = np.empty((len(covariance), rank))
    root[pivot] = np.where(lower_triangle(len(covariance)), lower, 0.0)[:, :rank]
    return root, pivot[:rank]


@dataclass(frozen=True, eq=False)
class Rows:
    """What q numbers made of the cells' energies, such as that used by a knot, depend on.

    Parameters
    ----------
    energy : of the cells, with derivatives by u unknowns, of which the first p are parameters.
    runs : q runs of cells.
    running : so many of the runs, the first, follow each other from the first cell on, and their
        numbers are sums over their own run and all before; the others are sums over their own run.
    """

    energy: CellEnergy
    runs: Runs
    running: int

    @cached_property
    def by_parameters(self) -> FloatArray:
        """(q, p) derivatives by the parameters."""
        return self._through(self.energy.of_parameters)

    @cached_property
    def by_others(self) -> FloatArray:
        """(q, u − p) derivatives by the others; large for a long ride."""
        return self._summed(self.energy.others(self.runs))

    def dense(self) -> FloatArray:
        """(q, u) all derivatives."""
        return np.hstack([self.by_parameters, self.by_others])

    def moved(self, others: FloatArray) -> FloatArray:
        """(q, k) what k sets of the other unknowns (u − p, k) add to the numbers."""
        return self._through(self.energy.moved(others))

    def pulled(self, pull: FloatArray) -> FloatArray:
        """(u − p,) derivatives of a weighted sum of the numbers, with weights (q,)."""
        pull = pull.copy()
        pull[: self.running] = np.cumsum(pull[: self.running][::-1])[::-1]
        run, cell = self.runs.members
        of_cells = np.bincount(cell, pull[run], len(self.energy.wh))
        return self.energy.pulled(np.asarray(of_cells, dtype=np.float64))

    def covariance(self) -> FloatArray:
        """(q, q) covariance of the numbers that is due to the others."""
        return self._summed(self.shared(self.runs).T)

    def shared(self, runs: Runs) -> FloatArray:
        """(q, g) covariance with the energy of runs that is due to the others."""
        return self._summed(self.energy.shared(self.runs, runs))

    def _through(self, of_cells: FloatArray) -> FloatArray:
        """(q, k) what the numbers sum of values (c, k) of the cells."""
        so_far = np.zeros((len(of_cells) + 1, of_cells.shape[1]))
        np.cumsum(of_cells, axis=0, out=so_far[1:])
        sums = so_far[self.runs.end]
        sums[self.running :] -= so_far[self.runs.first[self.running :]]
        return sums

    def _summed(self, steps: FloatArray) -> FloatArray:
        summed = steps.copy()
        np.cumsum(steps[: self.running], axis=0, out=summed[: self.running])
        return summed


@dataclass(frozen=True, slots=True, eq=False)
class Informed:
    """Unknowns with a unit normal prior, of which only some directions show in some numbers.

    Parameters
    ----------
    all_rows : the numbers' derivatives by all unknowns.
    rows : (q, p + r) by the first p unknowns and by r scores of directions among the others.
    pivot : (r,) numbers whose derivatives by the others span these directions.
    root : (r, r) lower triangle that makes the span orthonormal; None where all unknowns are kept.
    """

    all_rows: Rows
    rows: FloatArray
    pivot: IntArray
    root: FloatArray | None

    @property
    def p(self) -> int:
        """Number of parameters, which are kept as they are."""
        return self.all_rows.by_parameters.shape[1]

    def scores(self, reduced: FloatArray) -> FloatArray:
        """(u,) all unknowns, most probable at reduced ones (p + r,)."""
        if self.root is None:
            return reduced
        pull = np.zeros(len(self.rows))
        if len(self.pivot):
            pull[self.pivot] = dtrtrs(self.root, reduced[self.p :], lower=1, trans=1)[0]
        return np.concatenate([reduced[: self.p], self.all_rows.pulled(pull)])

    def directions(self, shown: FloatArray) -> FloatArray:
        """(r, k) scores of the directions, from what they show in the numbers (q, k)."""
        if self.root is None or not len(self.pivot):
            return np.zeros((0, shown.shape[1]))
        return np.asarray(dtrtrs(self.root, shown[self.pivot], lower=1)[0])

    def reduced(self, unknowns: FloatArray) -> FloatArray:
        """(k, p + r) what of k sets of unknowns, or of derivatives by them, lies there (k, u)."""
        if self.root is None:
            return unknowns
        shown = self.all_rows.moved(unknowns[:, self.p :].T)
        return np.hstack([unknowns[:, : self.p], self.directions(shown).T])


def informed_part(rows: Rows, others: int) -> Informed:
    """Directions of so many other unknowns that show in the rows."""
    if len(rows.runs) >= others:
        return Informed(rows, rows.dense(), np.zeros(0, dtype=np.intp), None)
    root, pivot = pivoted_root(rows.covariance(), _LEAST_VARIANCE)
    return Informed(rows, np.hstack([rows.by_parameters, root]), pivot, root[pivot])


@dataclass(frozen=True, eq=False)
class RideSolution:
    """Most probable unknowns of a ride and their covariance.

    Parameters
    ----------
    scores : (u,) most probable unknowns.
    informed : the directions that the measurements can tell apart.
    told : (p + r, p + r) Laplace covariance of these; all others keep their unit variance.
    converged : False if the search ended for want of iterations.
    iterations : how many the last round took.
    """

    scores: FloatArray
    informed: Informed
    told: FloatArray
    converged: bool
    iterations: int

    @property
    def of_parameters(self) -> FloatArray:
        """(p, p) covariance of the first p unknowns."""
        p = self.informed.p
        return self.told[:p, :p]

    @cached_property
    def covariance(self) -> FloatArray:
        """(u, u) covariance of all unknowns; large for a long ride, see `of`."""
        if self.informed.root is None:
            return self.told
        p, unknowns = self.informed.p, len(self.scores)
        seen = np.zeros((unknowns, len(self.told)))
        seen[:p, :p] = np.eye(p)
        seen[p:, p:] = self.informed.directions(self.informed.all_rows.by_others).T
        return self._covariance(np.eye(unknowns), seen)

    def sds(self, slopes: FloatArray) -> FloatArray:
        """(k,) standard deviations of k numbers with derivatives (k, u) by the unknowns."""
        taken = self.informed.reduced(slopes) @ self._gone_root
        variance = np.sum(np.square(slopes), axis=1) - np.sum(np.square(taken), axis=1)
        return np.sqrt(np.maximum(variance, 0.0))

    def of(self, slopes: FloatArray) -> FloatArray:
        """(k, k) covariance of k numbers with derivatives (k, u) by the unknowns."""
        return self._covariance(slopes @ slopes.T, self.informed.reduced(slopes))

    def of_runs(self, runs: Runs) -> FloatArray:
        """(g, g) covariance of the energy of runs of cells [Wh²]."""
        rows = self.informed.all_rows
        if self.informed.root is None:
            return self.of(rows.energy.summed(runs))
        by_parameters = runs.sums(rows.energy.of_parameters)
        beforehand = rows.energy.shared(runs, runs)
        beforehand += by_parameters @ by_parameters.T
        directions = self.informed.directions(rows.shared(runs))
        return self._covariance(beforehand, np.hstack([by_parameters, directions.T]))

    @cached_property
    def _gone_root(self) -> FloatArray:
        """(p + r, …) root of how much less is unknown than beforehand."""
        return pivoted_root(np.eye(len(self.told)) - self.told, _LEAST_GONE)[0]

    def _covariance(self, beforehand: FloatArray, seen: FloatArray) -> FloatArray:
        """Covariance of numbers from that before the ride, and from what it shows of them.

        The former is given away.
        """
        taken = seen @ self._gone_root
        beforehand -= taken @ taken.T
        return beforehand
