"""How likely noise levels are, given both heights of a ride and all else integrated out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.terrain.bands import backward, factorised, forward
from wherewatt.terrain.information import BAND, Term, add, parts_of, right_side
from wherewatt.terrain.model import HEIGHT, STATES, TILE_ERROR, WANDER, WEATHER, Noise, Observed

LEVELS = 4  # the grade's walk, the tile's spread, the wander's, the recording's white noise
_STEP = 1e-5  # of a logarithm, for a slope
_ALL = np.ones(LEVELS, dtype=bool)


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The model solved at some levels.

    Parameters
    ----------
    logs : (4,) the levels, as logarithms relative to the expected ones.
    log_likelihood : theirs, up to a constant.
    bands : (4k, 9) the information matrix, in bands.
    factor : (9, 4k) its Cholesky factor, in bands.
    states : (k, 4) the most probable unknowns [m].
    """

    logs: FloatArray
    log_likelihood: float
    bands: FloatArray
    factor: FloatArray
    states: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Likelihood:
    """Log-likelihood of noise levels, which are logarithms (4,) relative to some expected ones.

    The information matrix is a sum of parts, each scaled by the inverse square of one level. So it
    is worked out once, and put together from its parts for any levels.

    Parameters
    ----------
    parts : (4,) the matrix at the expected levels, by level.
    rest : (4k, 9) what of it no level scales, in bands.
    value : (2, k) what the tile and the recording say [m]; 0 where they say nothing.
    weight : (2, k) weights of both at the expected levels [1/m²].
    ranks : (4,) number of independent errors whose size each level tells.
    stretches : number of stretches, all of one length.
    """

    parts: tuple[list[Term], ...]
    rest: FloatArray
    value: FloatArray
    weight: FloatArray
    ranks: FloatArray
    stretches: int

    @classmethod
    def of(cls, stretches: Observed, expected: Noise, unruly_walk: float) -> Likelihood:
        """Likelihood given stretches of a ride, as if they were rides of their own.

        Parameters
        ----------
        stretches : side by side: arrays (j, k).
        """
        parts = parts_of(stretches, expected, unruly_walk)
        weight = np.reshape(parts.weight, (2, -1))
        value = np.reshape((stretches.tile_m, stretches.recorded_m), (2, -1))
        bends, heights = np.count_nonzero(~stretches.unruly[:, 1:-1]), np.count_nonzero(weight[1])
        rest = np.zeros((STATES * weight.shape[1], BAND + 1))
        add(rest, parts.rest)
        return cls(
            parts=parts.by_level,
            rest=rest,
            value=np.where(weight > 0, value, 0.0),
            weight=weight,
            ranks=np.array([bends, weight.shape[1], weight.shape[1], heights], dtype=np.float64),
            stretches=len(stretches),
        )

    def at(self, logs: FloatArray) -> Solved:
        """The model solved at some levels."""
        bands = self.rest.copy()
        for level, scale in enumerate(np.exp(-2.0 * logs).tolist()):
            add(bands, self.parts[level], scale)
        factor = factorised(bands.copy())
        weight = self._weight(logs)
        half = forward(factor, right_side(*(weight * self.value)))
        misfit = float(np.vdot(weight, np.square(self.value)) - half @ half)
        free = -float(self.ranks @ logs) - float(np.log(factor[0]).sum())
        states = backward(factor, half).reshape(-1, STATES)
        return Solved(logs, free - 0.5 * misfit, bands, factor, states)

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

    def slope(self, here: Solved, free: BoolArray = _ALL, *, rough: bool = False) -> FloatArray:
        """(4,) what the log-likelihood gains with each level that is free; 0 for the others.

        The errors' squares lose weight, the determinant shrinks by what a small step shows, and
        there are as many errors as there are.

        Parameters
        ----------
        rough : whether to take the determinant from the first half of each stretch.
        """
        squares = np.zeros(LEVELS)
        for level, state in enumerate((HEIGHT, TILE_ERROR, WANDER)):
            squares[level] = _square(self.parts[level], here.states[:, state])
        squares[-1] = self.weight[1] @ np.square(self._residual(here))
        weight = np.exp(-2.0 * here.logs)
        shrunk = -self._determinant_slope(here, weight, free, rough)
        return np.where(free, weight * squares + shrunk - self.ranks, 0.0)

    def _determinant_slope(
        self, here: Solved, weight: FloatArray, free: BoolArray, rough: bool
    ) -> FloatArray:
        """(4,) what half the logarithm of the determinant gains with each level that is free."""
        size = len(here.bands) // self.stretches
        seen = size // 2 if rough else size
        inverse = 1.0 / here.factor[0].reshape(self.stretches, size)[:, :seen]
        gained = np.zeros(LEVELS)
        for level in np.flatnonzero(free).tolist():
            ahead = here.bands.copy()
            add(ahead, self.parts[level], float(weight[level] * np.expm1(-2.0 * _STEP)))
            for stretch, start in enumerate(range(0, len(ahead), size)):
                # To first order, the sum of what the pivots' logarithms gain.
                pivots = factorised(ahead[start : start + seen])[0]
                gained[level] += pivots @ inverse[stretch] - seen
        return gained * (size / seen / _STEP)

    def _weight(self, logs: FloatArray) -> FloatArray:
        return self.weight * np.exp([[0.0], [-2.0 * logs[-1]]])

    def _residual(self, here: Solved) -> FloatArray:
        """(k,) what no unknown explains of the recording [m]; of no weight where there is none."""
        explained = here.states[:, HEIGHT] + here.states[:, WANDER] + here.states[:, WEATHER]
        return np.asarray(self.value[1] - explained)


def _square(terms: list[Term], value: FloatArray) -> float:
    """Weighted square of one kind of unknowns (k,), each of which may be joined to those behind."""
    total = 0.0
    for _, below, weight in terms:
        behind = below // STATES
        product = value[behind:] * value[: len(value) - behind]
        total += (2.0 if behind else 1.0) * float(weight.ravel()[: len(product)] @ product)
    return total
