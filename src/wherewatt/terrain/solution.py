"""The most probable heights and errors along a ride, and what is left open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotrs, dtrtrs

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.terrain.bands import backward, factorised, forward
from wherewatt.terrain.information import BAND, information, parts_of, right_side
from wherewatt.terrain.marginal import Chain
from wherewatt.terrain.model import HEIGHT, STATES, WANDER, WEATHER, Noise, Observed

# Nodes behind a shape, and as many as it is long, beyond which nothing imitates it: half a percent
# of the information that remains is left out, for phones and barometers.
_NEAR = 6
_NEAR_RISE = 40  # nodes behind a rise, likewise, beyond which hardly anything tells of it
_RECORDED = np.array([1.0, 0.0, 1.0, 1.0])  # unknowns that a recorded height is the sum of


@dataclass(frozen=True, slots=True, eq=False)
class Ties:
    """Equal heights at j pairs of nodes.

    Parameters
    ----------
    later, first : (j,) nodes of the pairs.
    root : (j, j) lower Cholesky factor of the covariance of their differences as they would be
        seen [m].
    apart_sds : (j,) difference of each pair before it was tied, in standard deviations.
    chain : the unknowns at these nodes without ties.
    """

    later: IntArray
    first: IntArray
    root: FloatArray
    apart_sds: FloatArray
    chain: Chain

    def told(self, differences: FloatArray) -> FloatArray:
        """What ties tell of differences (j, …) that they see, each in its standard deviation."""
        return np.asarray(dtrtrs(self.root, differences, lower=1)[0])


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
        if ties is None:
            different, place = np.unique(node, return_inverse=True)
            covariance = Chain.of(self.factor, different).height_covariance()
            return covariance[np.ix_(place, place)]
        chain = ties.chain.joined_by(self.factor, node)
        later, first = np.searchsorted(chain.node, [ties.later, ties.first])
        place = np.searchsorted(chain.node, node)
        own = chain.height_covariance().take(place, axis=0)  # with all nodes of the chain
        told = ties.told((own.take(later, axis=1) - own.take(first, axis=1)).T)
        left = own.take(place, axis=1)
        left -= told.T @ told
        return left

    def imitated(self, node: IntArray, pull: FloatArray, visit: IntArray) -> FloatArray:
        """(v,) information on shapes in the recording that the unknowns can imitate, p·Q⁻¹p.

        Q is the information matrix without ties.

        Parameters
        ----------
        node : (j,) nodes of v visits, one visit after the other, in order within each.
        pull : (j,) p, the weighted shapes at these nodes [1/m²].
        visit : (v,) where the nodes of each visit begin.
        """
        return self._squares(node, pull[:, np.newaxis] * _RECORDED, visit, _NEAR)

    def rise_variance(self, first: IntArray, last: IntArray) -> FloatArray:
        """(j,) variance of the rise from some nodes to others behind them, without ties [m²]."""
        node = np.column_stack([first, last]).ravel()
        rise = np.zeros((len(node), STATES))
        rise[0::2, HEIGHT], rise[1::2, HEIGHT] = -1.0, 1.0
        return self._squares(node, rise, 2 * np.arange(len(first)), _NEAR_RISE)

    def _squares(self, node: IntArray, load: FloatArray, visit: IntArray, near: int) -> FloatArray:
        """(v,) c·Q⁻¹c of loads c (j, 4) on the unknowns at the nodes of v visits.

        Each visit is looked at for itself, with as many nodes behind it as it is long and some
        more (`near`). Their windows, laid end to end, are one banded system, in which none hands
        anything on to the next.
        """
        stop = np.append(visit[1:], len(node))
        width = 2 * (node[stop - 1] - node[visit]) + near
        begin = np.cumsum(width) - width
        shift = node[visit] - begin
        at = np.arange(width.sum()) + np.repeat(shift, width)
        # Behind the end of the ride its last node stands in, to which nothing is handed on.
        blocks = self.factor.T.reshape(len(self.states), -1).take(at, axis=0, mode="clip")
        factor = blocks.reshape(-1, STATES, BAND + 1)
        factor[begin[1:] - 1, :, 1:] = factor[begin[1:] - 2, :, 1:] = 0.0
        right = np.zeros((len(at), STATES))
        right[node - np.repeat(shift, stop - visit)] = load
        half = forward(factor.reshape(-1, BAND + 1).T, right.ravel())
        return np.asarray(np.add.reduceat(np.square(half), STATES * begin))


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Pairs of nodes with equal heights.

    Parameters
    ----------
    later, first : (j,) nodes of the pairs.
    sd_m : how equal they are [m].
    """

    later: IntArray
    first: IntArray
    sd_m: float


def solve(
    observed: Observed, noise: Noise, *, unruly_walk_per_root_m: float, tied: Pairs | None = None
) -> Solution:
    """Find the most probable heights and errors.

    Parameters
    ----------
    unruly_walk_per_root_m : how fast the grade changes on structures [1/√m].
    tied : pairs of nodes with equal heights.
    """
    parts = parts_of(observed, noise, unruly_walk_per_root_m)
    factor = factorised(information(parts))
    tile, recorded = parts.weight
    pulls = (
        np.where(weight > 0, weight * value, 0.0)
        for weight, value in ((tile, observed.tile_m), (recorded, observed.recorded_m))
    )
    half, ties = forward(factor, right_side(*pulls)), None
    if tied is not None and len(tied.later):
        ties, pull = _tie(factor, half, tied)
        half -= forward(factor, pull)
    states = backward(factor, half)
    return Solution(states.reshape(-1, STATES), factor, recorded, ties)


def _tie(factor: FloatArray, half: FloatArray, tied: Pairs) -> tuple[Ties, FloatArray]:
    """Ties, and what they take from the right side (4k,) of the system.

    They are a few observations more: a low-rank update of the solution and its covariance (Golub
    and Van Loan 2013, Matrix Computations, section 2.1.4).
    """
    chain = Chain.of(factor, np.unique(np.concatenate([tied.later, tied.first])), half)
    later, first = np.searchsorted(chain.node, [tied.later, tied.first])
    height, covariance = chain.heights()
    to_heights = covariance[later] - covariance[first]
    gap = to_heights[:, later] - to_heights[:, first]
    gap[np.diag_indices(len(gap))] += tied.sd_m**2
    apart = height[later] - height[first]
    root, failed = dpotrf(gap, lower=1)
    if failed:
        raise np.linalg.LinAlgError(f"ties contradict their covariance at {failed - 1}")
    force, _ = dpotrs(root, apart, lower=1)
    pull = np.zeros(len(half))
    np.add.at(pull, STATES * tied.later + HEIGHT, force)
    np.subtract.at(pull, STATES * tied.first + HEIGHT, force)
    ties = Ties(tied.later, tied.first, root, apart / np.sqrt(np.diag(gap)), chain)
    return ties, pull
