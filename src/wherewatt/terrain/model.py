"""The heights along a ride as one linear model with Gaussian errors.

At every node four things are unknown, and two are observed:

    tile      = height + tile error + white noise
    recording = height + wander + weather + white noise

The grade of the road is a random walk along distance. The tile's error is alike over some hundred
metres (first-order Gauss–Markov along distance); the satellite error of a recording wanders over
minutes (Gauss–Markov in time); the weather moves a barometer, and with it everything recorded, in
a slow random walk in time, whose start is free: no two sources share a datum. The most probable
unknowns are the solution of one banded linear system, and its determinant gives the likelihood of
the noise levels (Rue and Held 2005, Gaussian Markov Random Fields, section 2.4).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

from wherewatt.arrays import BoolArray, FloatArray, IntArray

HEIGHT, TILE_ERROR, WANDER, WEATHER = range(4)
STATES = 4
_BAND = 2 * STATES  # second differences of height couple nodes two apart
_LOOSE_M = 1e3  # standard deviation of a level of which nothing is known
_DATUM_M = 100.0  # heights above the ellipsoid and above the sea differ by up to this
_STEEP = 0.5  # no road is as steep; holds the height where nothing was recorded for kilometres
_LEAST_LOSS = 1e-6  # of a Gauss–Markov error between nodes passed at the same moment


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise levels of a ride's sources.

    Parameters
    ----------
    grade_walk_per_root_m : how fast the grade of the road changes [1/√m].
    tile_sd_m, tile_length_m : spread of the tile's error and the length over which it is alike [m].
    tile_white_m2_m : spectral density of the tile's white noise [m²·m].
    wander_sd_m, wander_s : spread of the satellite error [m] and its correlation time [s].
    weather_walk_m_per_root_s : how fast the weather moves a barometer [m/√s].
    recorded_white_m : white noise of one recorded height [m].
    """

    grade_walk_per_root_m: float
    tile_sd_m: float
    tile_length_m: float
    tile_white_m2_m: float
    wander_sd_m: float
    wander_s: float
    weather_walk_m_per_root_s: float
    recorded_white_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """What was seen at the nodes, about a common level; arrays (k,).

    Parameters
    ----------
    spacing_m : distance between nodes [m].
    leg_s : (k−1,) time from node to node, stand-stills included [s].
    tile_m : height of the terrain [m], NaN where it is unknown or not to be used.
    tile_extra_sd_m : standard deviation that the source adds where it filled a void [m].
    recorded_m : mean of the recorded heights [m], NaN without any.
    count : number of recorded heights.
    unruly : True where the road need not follow the ground: on structures.
    new_datum : (k−1,) True where the recording was set anew from a node to the next.
    """

    spacing_m: float
    leg_s: FloatArray
    tile_m: FloatArray
    tile_extra_sd_m: FloatArray
    recorded_m: FloatArray
    count: FloatArray
    unruly: BoolArray
    new_datum: BoolArray

    def __len__(self) -> int:
        return len(self.tile_m)

    @property
    def has_tile(self) -> bool:
        """Whether the terrain is known anywhere."""
        return bool(np.isfinite(self.tile_m).any())

    @property
    def has_recording(self) -> bool:
        """Whether a height was recorded anywhere."""
        return bool(np.isfinite(self.recorded_m).any())

    def off_ground(self, where: BoolArray) -> Observed:
        """The same without terrain where the road leaves it."""
        tile = np.where(where, np.nan, self.tile_m)
        return replace(self, tile_m=tile, unruly=self.unruly | where)

    def thinned(self, step: int) -> Observed:
        """Every `step`-th node only, with the recorded heights between gathered at them."""
        if step <= 1:
            return self
        kept = np.arange(0, len(self), step)
        group = np.minimum((np.arange(len(self)) + step // 2) // step, len(kept) - 1)
        count = np.bincount(group, weights=self.count).astype(np.float64)
        total = np.bincount(group, weights=self.count * np.nan_to_num(self.recorded_m))
        return Observed(
            spacing_m=step * self.spacing_m,
            leg_s=np.add.reduceat(self.leg_s, kept[:-1])[: len(kept) - 1],
            tile_m=self.tile_m[kept],
            tile_extra_sd_m=self.tile_extra_sd_m[kept],
            recorded_m=np.divide(total, count, out=np.full(len(kept), np.nan), where=count > 0),
            count=count,
            unruly=self.unruly[kept],
            new_datum=np.logical_or.reduceat(self.new_datum, kept[:-1])[: len(kept) - 1],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Ties:
    """Equal heights at j pairs of nodes.

    Parameters
    ----------
    spread : (4k, j) covariance of all unknowns with the differences of the pairs [m²].
    information : (j, j) inverse covariance of those differences as they would be seen [1/m²].
    apart_sds : (j,) difference of each pair before it was tied, in standard deviations.
    """

    spread: FloatArray
    information: FloatArray
    apart_sds: FloatArray

    def correction(self, right: FloatArray) -> FloatArray:
        """What the ties take off the solution for a right-hand side (4k, …)."""
        return np.asarray(self.spread @ (self.information @ (self.spread.T @ right)))


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """The most probable unknowns of a model and what is left open.

    Parameters
    ----------
    states : (k, 4) height, tile error, wander and weather at the nodes [m].
    log_likelihood : of the noise levels, up to a constant that does not depend on them.
    factor : Cholesky factor of the information matrix, in bands.
    tile_weight, recorded_weight : (k,) weights of the observations [1/m²].
    ties : what equal heights at places visited again add; None without any.
    """

    states: FloatArray
    log_likelihood: float
    factor: FloatArray
    tile_weight: FloatArray
    recorded_weight: FloatArray
    ties: Ties | None = None

    @property
    def height_m(self) -> FloatArray:
        """(k,) height at the nodes [m]."""
        return self.states[:, HEIGHT]

    @property
    def recorded_fit_m(self) -> FloatArray:
        """(k,) the recording that these unknowns would give [m]."""
        return self.states[:, [HEIGHT, WANDER, WEATHER]].sum(axis=1)

    def covariance_with_height(self, node: IntArray) -> FloatArray:
        """(4k, j) covariance of all unknowns with the height at some nodes [m²]."""
        unit = np.zeros((self.states.size, len(node)))
        unit[STATES * node + HEIGHT, np.arange(len(node))] = 1.0
        return self.solve(unit)

    def solve(self, right: FloatArray) -> FloatArray:
        """The information matrix divided into `right` (4k, j)."""
        free = np.asarray(cho_solve_banded((self.factor, True), right, check_finite=False))
        return free if self.ties is None else free - self.ties.correction(right)

    def tied(self, later: IntArray, first: IntArray, sd_m: float) -> Solution:
        """The same with equal heights, within `sd_m`, at pairs of nodes.

        The ties are a few observations more: a low-rank update of the solution and its
        covariance (Golub and Van Loan 2013, Matrix Computations, section 2.1.4).
        """
        rows = np.zeros((self.states.size, len(later)))
        rows[STATES * later + HEIGHT, np.arange(len(later))] = 1.0
        rows[STATES * first + HEIGHT, np.arange(len(later))] = -1.0
        spread = self.solve(rows)
        gap = spread[STATES * later + HEIGHT] - spread[STATES * first + HEIGHT]
        gap += sd_m**2 * np.eye(len(later))
        apart = self.height_m[later] - self.height_m[first]
        information = np.asarray(np.linalg.inv((gap + gap.T) / 2.0), dtype=np.float64)
        ties = Ties(spread, information, apart / np.sqrt(np.diag(gap)))
        states = self.states - (spread @ (information @ apart)).reshape(-1, STATES)
        return replace(self, states=states, ties=ties)


def solve(observed: Observed, noise: Noise, *, unruly_walk_per_root_m: float) -> Solution:
    """Find the most probable heights and errors.

    Parameters
    ----------
    unruly_walk_per_root_m : how fast the grade changes on structures [1/√m].
    """
    bands = np.zeros((_BAND + 1, STATES * len(observed)))
    prior = _add_smoothness(bands, observed, noise, unruly_walk_per_root_m)
    prior += _add_errors(bands, observed, noise)
    tile_weight, recorded_weight = _weights(observed, noise)
    tile, recorded = np.nan_to_num(observed.tile_m), np.nan_to_num(observed.recorded_m)
    right = np.zeros((len(observed), STATES))
    right[:, HEIGHT] = tile_weight * tile + recorded_weight * recorded
    right[:, TILE_ERROR] = tile_weight * tile
    right[:, [WANDER, WEATHER]] = (recorded_weight * recorded)[:, None]
    _add_observations(bands, tile_weight, recorded_weight)
    factor = cholesky_banded(bands, lower=True, check_finite=False, overwrite_ab=True)
    states = np.asarray(cho_solve_banded((factor, True), right.ravel(), check_finite=False))
    misfit = float(tile_weight @ tile**2 + recorded_weight @ recorded**2 - right.ravel() @ states)
    weights = np.concatenate([tile_weight, recorded_weight])
    likelihood = (
        0.5 * prior
        + 0.5 * float(np.sum(np.log(weights[weights > 0])))
        - float(np.sum(np.log(factor[0])))
        - 0.5 * misfit
    )
    return Solution(states.reshape(-1, STATES), likelihood, factor, tile_weight, recorded_weight)


def _weights(observed: Observed, noise: Noise) -> tuple[FloatArray, FloatArray]:
    """(k,) weights of the tile and of the recording [1/m²]; 0 where there is none."""
    tile_variance = noise.tile_white_m2_m / observed.spacing_m + observed.tile_extra_sd_m**2
    tile = np.where(np.isfinite(observed.tile_m), 1.0 / tile_variance, 0.0)
    recorded = np.where(
        np.isfinite(observed.recorded_m), observed.count / noise.recorded_white_m**2, 0.0
    )
    return tile, recorded


def _add_observations(bands: FloatArray, tile: FloatArray, recorded: FloatArray) -> None:
    of = [bands[:, state::STATES] for state in range(STATES)]
    of[HEIGHT][0] += tile + recorded
    of[TILE_ERROR][0] += tile
    of[WANDER][0] += recorded
    of[WEATHER][0] += recorded
    of[HEIGHT][TILE_ERROR - HEIGHT] += tile
    of[HEIGHT][WANDER - HEIGHT] += recorded
    of[HEIGHT][WEATHER - HEIGHT] += recorded
    of[WANDER][WEATHER - WANDER] += recorded


def _add_smoothness(
    bands: FloatArray, observed: Observed, noise: Noise, unruly_walk: float
) -> float:
    """Second differences of height: (h₋ − 2h + h₊)/Δ has variance walk²·Δ.

    Returns the logarithm of the determinant of what was added, up to a constant.
    """
    walk = np.full(len(observed), noise.grade_walk_per_root_m)
    walk[observed.unruly] = max(unruly_walk, noise.grade_walk_per_root_m)
    bend = 1.0 / (np.square(walk[1:-1]) * observed.spacing_m**3)
    height = bands[:, HEIGHT::STATES]
    height[0, 0] += 1.0 / _LOOSE_M**2
    height[0, :-2] += bend
    height[0, 1:-1] += 4.0 * bend
    height[0, 2:] += bend
    height[STATES, :-2] -= 2.0 * bend
    height[STATES, 1:-1] -= 2.0 * bend
    height[2 * STATES, :-2] += bend
    slope = 1.0 / (_STEEP * observed.spacing_m) ** 2
    height[0, :-1] += slope
    height[0, 1:] += slope
    height[STATES, :-1] -= slope
    return float(np.sum(np.log(bend)))


def _add_errors(bands: FloatArray, observed: Observed, noise: Noise) -> float:
    """The three errors; returns the logarithm of the determinants of what was added."""
    total = _add_tile_error(bands[:, TILE_ERROR::STATES], observed.spacing_m, noise)
    keep = np.exp(-observed.leg_s / noise.wander_s)
    spread = noise.wander_sd_m
    weight = 1.0 / (np.maximum(1.0 - keep**2, _LEAST_LOSS) * spread**2)
    total += _add_chain(bands[:, WANDER::STATES], keep, weight, 1.0 / spread**2)
    walked = np.maximum(observed.leg_s, 0.1) * noise.weather_walk_m_per_root_s**2
    walked = walked + np.where(observed.new_datum, _DATUM_M**2, 0.0)
    # Without terrain to compare with, the recording's datum is that of the height.
    datum = _DATUM_M if observed.has_tile else noise.recorded_white_m
    weather = bands[:, WEATHER::STATES]
    return total + _add_chain(weather, np.ones_like(walked), 1.0 / walked, 1.0 / datum**2)


def _add_tile_error(band: FloatArray, spacing_m: float, noise: Noise) -> float:
    """A smooth error, alike over a length: x₊ − 2a·x + a²·x₋ = step, with a = exp(−Δ/length).

    It is the second-order autoregression with a double root, whose correlation is nearly that of
    Matérn with ν = 3/2, (1 + d/length)·exp(−d/length); its variance is that of the step times
    (1 + a²)/(1 − a²)³ (Box and Jenkins 1976, section 3.2.4).
    """
    root = float(np.exp(-spacing_m / noise.tile_length_m))
    variance = noise.tile_sd_m**2
    weight = 1.0 / (variance * (1.0 - root**2) ** 3 / (1.0 + root**2))
    near = 2.0 * root / (1.0 + root**2)  # correlation of neighbours
    first = 1.0 / (variance * (1.0 - near**2))
    before, here = root**2, -2.0 * root
    band[0, 0] += 1.0 / variance + near**2 * first
    band[0, 1] += first
    band[STATES, 0] -= near * first
    band[0, :-2] += before**2 * weight
    band[0, 1:-1] += here**2 * weight
    band[0, 2:] += weight
    band[STATES, :-2] += before * here * weight
    band[STATES, 1:-1] += here * weight
    band[2 * STATES, :-2] += before * weight
    return float((band.shape[1] - 2) * np.log(weight) + np.log(first) - np.log(variance))


def _add_chain(band: FloatArray, keep: FloatArray, weight: FloatArray, first: float) -> float:
    """A chain x₊ = keep·x + step, the step of the given weight (inverse variance)."""
    band[0, 0] += first
    band[0, 1:] += weight
    band[0, :-1] += keep**2 * weight
    band[STATES, :-1] -= keep * weight
    return float(np.sum(np.log(weight))) + float(np.log(first))
