"""How likely noise levels are, given both heights of a ride and all else integrated out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.terrain.bands import backward, factorised, forward
from wherewatt.terrain.information import BAND, Parts, add_information, right_side, weights
from wherewatt.terrain.model import HEIGHT, STATES, TILE_ERROR, WANDER, WEATHER, Noise, Observed

LEVELS = 4  # the grade's walk, the tile's spread, the wander's, the recording's white noise
_STEP = 1e-5  # of a logarithm, for a slope


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The model solved at some levels.

    Parameters
    ----------
    logs : (4,) the levels, as logarithms relative to the expected ones.
    log_likelihood : theirs, up to a constant.
    factor : (9, 4k) Cholesky factor of the information matrix, in bands.
    states : (k, 4) the most probable unknowns [m].
    """

    logs: FloatArray
    log_likelihood: float
    factor: FloatArray
    states: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Likelihood:
    """Log-likelihood of noise levels, which are logarithms (4,) relative to some expected ones.

    The information matrix is a sum of parts, each scaled by the inverse square of one level. So it
    is worked out once, and put together from its parts for any levels.

    Parameters
    ----------
    parts : (5, 4k·9) the matrix at the expected levels, in bands, by level; the last part belongs
        to none.
    value : (2, k) what the tile and the recording say [m]; 0 where they say nothing.
    weight : (2, k) weights of both at the expected levels [1/m²].
    ranks : (4,) number of independent errors whose size each level tells.
    """

    parts: FloatArray
    value: FloatArray
    weight: FloatArray
    ranks: FloatArray

    @classmethod
    def of(cls, stretches: list[Observed], expected: Noise, unruly_walk: float) -> Likelihood:
        """Likelihood given some stretches of a ride, as if they were rides of their own."""
        count = sum(map(len, stretches))
        parts = np.zeros((LEVELS + 1, STATES * count, BAND + 1))
        value, weight = np.empty((2, count)), np.empty((2, count))
        ranks, start = np.zeros(LEVELS), 0
        for one in stretches:
            node = slice(start, start + len(one))
            start += len(one)
            within = parts[:, STATES * node.start : STATES * node.stop]
            add_information(Parts(*within), one, expected, unruly_walk)
            value[:, node] = np.nan_to_num((one.tile_m, one.recorded_m))
            weight[:, node] = weights(one, expected)
            bends = len(one) - 2 - np.count_nonzero(one.unruly[1:-1])
            heights = np.count_nonzero(weight[1, node])
            ranks += np.array([bends, len(one), len(one), heights])
        return cls(parts.reshape(LEVELS + 1, -1), value, weight, ranks)

    def at(self, logs: FloatArray) -> Solved:
        """The model solved at some levels."""
        factor = self._factor(logs)
        weight = self._weight(logs)
        half = forward(factor, right_side(*(weight * self.value)))
        misfit = float(np.vdot(weight, np.square(self.value)) - half @ half)
        free = -float(self.ranks @ logs) - _half_log_determinant(factor)
        states = backward(factor, half).reshape(-1, STATES)
        return Solved(logs, free - 0.5 * misfit, factor, states)

    def information(self, here: Solved) -> FloatArray:
        """(4, 4) information on the levels: the average of the observed and the expected one.

        It needs no more than a solution for each level: what its errors add to the observations,
        taken as if that had been observed (Gilmour, Thompson, Cullis 1995, Biometrics 51:1440).
        """
        added = np.zeros((LEVELS, *self.value.shape))
        added[0] = here.states[:, HEIGHT]
        added[1, 0] = here.states[:, TILE_ERROR]
        added[2, 1] = here.states[:, WANDER]
        added[3, 1] = self._residual(here)
        pulls = self._weight(here.logs) * added
        right = np.array([right_side(*pull) for pull in pulls])
        solved = forward(here.factor, right.T)
        plain = added.reshape(LEVELS, -1) @ pulls.reshape(LEVELS, -1).T
        return np.asarray(2.0 * (plain - solved.T @ solved))

    def slope(self, here: Solved) -> FloatArray:
        """(4,) what the log-likelihood gains with each level.

        The errors' squares lose weight, the determinant shrinks by what a small step shows, and
        there are as many errors as there are.
        """
        squares = np.empty(LEVELS)
        for level, state in enumerate((HEIGHT, TILE_ERROR, WANDER)):
            band = self.parts[level].reshape(-1, BAND + 1)[state::STATES]
            squares[level] = _square(band, here.states[:, state])
        squares[-1] = self.weight[1] @ np.square(self._residual(here))
        before = _half_log_determinant(here.factor)
        ahead = [self._factor(here.logs + step) for step in _STEP * np.eye(LEVELS)]
        gained = (before - np.array([_half_log_determinant(factor) for factor in ahead])) / _STEP
        return np.asarray(np.exp(-2.0 * here.logs) * squares + gained - self.ranks)

    def _factor(self, logs: FloatArray) -> FloatArray:
        bands = np.exp(-2.0 * np.append(logs, 0.0)) @ self.parts
        return factorised(bands.reshape(-1, BAND + 1))

    def _weight(self, logs: FloatArray) -> FloatArray:
        return self.weight * np.exp([[0.0], [-2.0 * logs[-1]]])

    def _residual(self, here: Solved) -> FloatArray:
        """(k,) what no unknown explains of the recording [m]; of no weight where there is none."""
        explained = here.states[:, HEIGHT] + here.states[:, WANDER] + here.states[:, WEATHER]
        return np.asarray(self.value[1] - explained)


def _half_log_determinant(factor: FloatArray) -> float:
    return float(np.sum(np.log(factor[0])))


def _square(band: FloatArray, value: FloatArray) -> float:
    """Weighted square of one kind of unknowns (k,), of which each is joined to the next two."""
    near, far = band[:-1, STATES], band[:-2, 2 * STATES]
    joined = near @ (value[:-1] * value[1:]) + far @ (value[:-2] * value[2:])
    return float(band[:, 0] @ np.square(value) + 2.0 * joined)
