"""The most probable heights and errors along a ride, and what is left open."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.terrain.bands import backward, factorised, forward
from wherewatt.terrain.information import information, right_side, weights
from wherewatt.terrain.marginal import Stretches, height_covariance
from wherewatt.terrain.model import HEIGHT, STATES, WANDER, WEATHER, Noise, Observed

_REACH = 100  # nodes around a shape beyond which hardly anything can imitate it
_RECORDED = np.array([1.0, 0.0, 1.0, 1.0])  # unknowns that a recorded height is the sum of


@dataclass(frozen=True, slots=True, eq=False)
class Ties:
    """Equal heights at j pairs of nodes.

    Parameters
    ----------
    later, first : (j,) nodes of the pairs.
    information : (j, j) inverse covariance of their differences as they would be seen [1/m²].
    apart_sds : (j,) difference of each pair before it was tied, in standard deviations.
    """

    later: IntArray
    first: IntArray
    information: FloatArray
    apart_sds: FloatArray

    def differences(self, height: FloatArray) -> FloatArray:
        """Differences (j, …) of the pairs, from values at all nodes (k, …)."""
        return np.asarray(height[self.later] - height[self.first])


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """The most probable unknowns of a model and what is left open.

    Parameters
    ----------
    states : (k, 4) height, tile error, wander and weather at the nodes [m].
    factor : (9, 4k) Cholesky factor of the information matrix, in bands, without ties.
    recorded_weight : (k,) weight of the recorded heights [1/m²].
    ties : what equal heights at places visited again add; None without any.
    """

    states: FloatArray
    factor: FloatArray
    recorded_weight: FloatArray
    ties: Ties | None = None
    _stretches: Stretches = field(default_factory=dict, repr=False)

    @property
    def height_m(self) -> FloatArray:
        """(k,) height at the nodes [m]."""
        return self.states[:, HEIGHT]

    @property
    def recorded_fit_m(self) -> FloatArray:
        """(k,) the recording that these unknowns would give [m]."""
        return self.states[:, HEIGHT] + self.states[:, WANDER] + self.states[:, WEATHER]

    def height_covariance(self, node: IntArray) -> FloatArray:
        """(j, j) covariance of the height at some nodes [m²]."""
        ties = self.ties
        asked = node if ties is None else np.concatenate([node, ties.later, ties.first])
        different, place = np.unique(asked, return_inverse=True)
        covariance = height_covariance(self.factor, different, self._stretches)
        covariance = covariance[np.ix_(place, place)]
        if ties is None:
            return covariance
        count, pairs = len(node), len(ties.later)
        with_ties = covariance[:count, count:]
        of_ties = with_ties[:, :pairs] - with_ties[:, pairs:]
        tied = covariance[:count, :count] - of_ties @ ties.information @ of_ties.T
        return np.asarray((tied + tied.T) / 2.0)

    def tied(self, later: IntArray, first: IntArray, sd_m: float) -> Solution:
        """The same with equal heights, within `sd_m`, at pairs of nodes; it has no ties yet.

        The ties are a few observations more: a low-rank update of the solution and its
        covariance (Golub and Van Loan 2013, Matrix Computations, section 2.1.4).
        """
        pairs = len(later)
        covariance = self.height_covariance(np.concatenate([later, first]))
        to_heights = covariance[:pairs] - covariance[pairs:]
        gap = to_heights[:, :pairs] - to_heights[:, pairs:] + sd_m**2 * np.eye(pairs)
        apart = self.height_m[later] - self.height_m[first]
        information = np.asarray(np.linalg.inv((gap + gap.T) / 2.0), dtype=np.float64)
        ties = Ties(later, first, information, apart / np.sqrt(np.diag(gap)))
        pull = np.zeros_like(self.states)
        np.add.at(pull[:, HEIGHT], later, information @ apart)
        np.subtract.at(pull[:, HEIGHT], first, information @ apart)
        taken = backward(self.factor, forward(self.factor, pull.ravel()))
        return replace(self, states=self.states - taken.reshape(-1, STATES), ties=ties)

    def imitated(self, node: IntArray, pull: FloatArray) -> float:
        """Information on a shape in the recording that the unknowns can imitate, p·Q⁻¹p.

        Q is the information matrix. Only the surroundings of the nodes are looked at: what is
        left out of the information that remains is below half a percent for phones and barometers.

        Parameters
        ----------
        node : (j,) nodes in order.
        pull : (j,) p, the weighted shape at these nodes [1/m²].
        """
        total, ties = 0.0, self.ties
        height = np.zeros(len(self.states) if ties else 0)
        before = _REACH if ties else 0  # what comes before the nodes matters to the ties alone
        parts = np.flatnonzero(node[1:] - node[:-1] > 2 * _REACH) + 1
        for start, stop in pairwise([0, *parts.tolist(), len(node)]):
            first = max(0, int(node[start]) - before)
            last = min(len(self.states), int(node[stop - 1]) + _REACH + 1)
            right = np.zeros((last - first, STATES))
            right[node[start:stop] - first] = pull[start:stop, np.newaxis] * _RECORDED
            local = self.factor[:, STATES * first : STATES * last]
            half = forward(local, right.ravel())
            total += float(np.vdot(half, half))
            if ties:
                height[first:last] += backward(local, half)[HEIGHT::STATES]
        if ties:
            moved = ties.differences(height)
            total -= float(moved @ ties.information @ moved)
        return total


def solve(observed: Observed, noise: Noise, *, unruly_walk_per_root_m: float) -> Solution:
    """Find the most probable heights and errors.

    Parameters
    ----------
    unruly_walk_per_root_m : how fast the grade changes on structures [1/√m].
    """
    factor = factorised(information(observed, noise, unruly_walk_per_root_m))
    tile, recorded = weights(observed, noise)
    pulls = tile * np.nan_to_num(observed.tile_m), recorded * np.nan_to_num(observed.recorded_m)
    states = backward(factor, forward(factor, right_side(*pulls)))
    return Solution(states.reshape(-1, STATES), factor, recorded)
