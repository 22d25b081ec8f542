"""One height along the ride from two that err differently.

Terrain tiles err by metres from place to place but do not drift; a recording has the fine shape
but drifts for minutes. Both are observations of one unknown profile, smoothed along distance:

    tile      = height + place error
    recording = height + offset + noise

with the grade a random walk along distance and the offset another, slower one. The least-squares
profile of that model is one banded linear system.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.ingest.track import Note
from wherewatt.motion.ride import Ride
from wherewatt.motion.smooth import white_noise_sd
from wherewatt.terrain.settings import TerrainSettings
from wherewatt.terrain.structures import Structure, find_structures

_LONGEST_LINE_M = 300.0  # heights farther apart are not joined by a straight line
_LOOSE_M = 1e4  # standard deviation of an offset of which nothing is known


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Height along the ride.

    Parameters
    ----------
    node_m : (k,) distances of the nodes from the start [m].
    node_height_m : (k,) height at the nodes [m]; linear in between.
    structures : bridges and cuttings that were found.
    notes : what was odd and what was done about it.
    """

    node_m: FloatArray
    node_height_m: FloatArray
    structures: tuple[Structure, ...]
    notes: tuple[Note, ...]
    _factor: FloatArray

    def height_at(self, distance_m: FloatArray) -> FloatArray:
        """Height at distances from the start [m]."""
        return np.interp(distance_m, self.node_m, self.node_height_m)

    def covariance_at(self, distance_m: FloatArray) -> FloatArray:
        """(j, j) covariance of the height at j distances [m²], correlations kept."""
        nearest = np.clip(
            np.searchsorted(self.node_m, distance_m - 0.5 * np.diff(self.node_m[:2])[0]),
            0,
            len(self.node_m) - 1,
        )
        unit = np.zeros((2 * len(self.node_m), len(nearest)))
        unit[2 * nearest, np.arange(len(nearest))] = 1.0
        columns = cho_solve_banded((self._factor, True), unit, check_finite=False)
        covariance = columns[2 * nearest]
        return (covariance + covariance.T) / 2.0

    def rise_sd(self, length_m: float) -> float:
        """Typical standard deviation of the rise over a length [m]."""
        total = float(self.node_m[-1])
        length = min(length_m, total)
        start = np.linspace(0.0, total - length, 12)
        covariance = self.covariance_at(np.concatenate([start, start + length]))
        variance, k = np.diag(covariance), len(start)
        of_rise = variance[:k] + variance[k:] - 2.0 * np.diag(covariance[:k, k:])
        return float(np.sqrt(np.median(np.maximum(of_rise, 0.0))))


def blend_heights(
    ride: Ride, tile_m: FloatArray, settings: TerrainSettings, hand_tagged: BoolArray | None = None
) -> Profile:
    """Blend terrain and recorded height along distance.

    Parameters
    ----------
    ride : the ride; its recorded height may be missing in part or altogether.
    tile_m : (n,) terrain height at the points [m], NaN where there is none.
    hand_tagged : (n,) True at points on a structure the user tagged: terrain is not used there.
    """
    grid = _grid(ride.distance_m, settings.grid_m)
    sources = _sources(grid, ride, tile_m, settings)
    if hand_tagged is not None:
        tagged = _at_nodes(grid, ride.distance_m, hand_tagged.astype(float)) > 0.5
        sources = sources.without_tile(tagged)
    walk = _likeliest_walk(sources, settings)
    structures = find_structures(
        sources.recorded_m - sources.tile_m, sources.spacing_m, walk, settings
    )
    if structures:
        for found in structures:
            inside = (grid >= found.start_m) & (grid <= found.end_m)
            sources = sources.without_tile(inside)
        walk = _likeliest_walk(sources, settings)
    if not sources.any:
        level = np.zeros_like(grid)
        sources = replace(sources, recorded_m=level, recorded_weight=level + 1.0)
        walk = settings.unknown_height_walk_m_per_root_m
    factor, solution, _ = _solve(sources, walk, settings.grade_walk_per_root_m)
    notes = _notes(tile_m, ride.recorded_height_m)
    return Profile(grid, solution[0::2], structures, tuple(notes), factor)


@dataclass(frozen=True, slots=True, eq=False)
class _Sources:
    """Both heights at the nodes (k,) [m] and their weights [1/m²]; zero weight where unknown.

    `noise_m` is the white noise of the recorded height at one point [m].
    """

    spacing_m: float
    noise_m: float
    tile_m: FloatArray
    tile_weight: FloatArray
    recorded_m: FloatArray
    recorded_weight: FloatArray

    @property
    def any(self) -> bool:
        return bool(self.tile_weight.any() or self.recorded_weight.any())

    def without_tile(self, where: BoolArray) -> _Sources:
        return replace(self, tile_weight=np.where(where, 0.0, self.tile_weight))


def _sources(
    grid: FloatArray, ride: Ride, tile_m: FloatArray, settings: TerrainSettings
) -> _Sources:
    tile = _at_nodes(grid, ride.distance_m, tile_m)
    recorded = _at_nodes(grid, ride.distance_m, ride.recorded_height_m)
    spacing = float(grid[1] - grid[0])
    # Errors that are alike over a correlation length ℓ weigh like white noise of density 2ℓσ².
    density = 2.0 * settings.tile_correlation_m * settings.tile_sd_m**2
    noise = _recorded_noise(ride, settings)
    per_node = _points_per_node(grid, ride) / noise**2
    return _Sources(
        spacing_m=spacing,
        noise_m=noise,
        tile_m=tile,
        tile_weight=np.where(np.isfinite(tile), spacing / density, 0.0),
        recorded_m=recorded,
        recorded_weight=np.where(np.isfinite(recorded), per_node, 0.0),
    )


def _grid(distance_m: FloatArray, spacing_m: float) -> FloatArray:
    cells = max(8, round(distance_m[-1] / spacing_m))
    return np.linspace(0.0, distance_m[-1], cells + 1)


def _node_of(grid: FloatArray, distance_m: FloatArray) -> FloatArray:
    return np.rint(distance_m / (grid[1] - grid[0])).astype(np.intp)


def _at_nodes(grid: FloatArray, distance_m: FloatArray, values: FloatArray) -> FloatArray:
    """Mean of the values nearest to each node; empty nodes between them are interpolated."""
    known = np.isfinite(values)
    if not known.any():
        return np.full(len(grid), np.nan)
    node = _node_of(grid, distance_m[known])
    count = np.bincount(node, minlength=len(grid))
    total = np.bincount(node, weights=values[known], minlength=len(grid))
    full = count > 0
    mean = np.interp(grid, grid[full], total[full] / count[full])
    filled = grid[full]
    after = np.searchsorted(filled, grid)
    bounds = np.concatenate([[-np.inf], filled, [np.inf]])
    reach = bounds[after + 1] - bounds[after]
    return np.where(full | (reach <= _LONGEST_LINE_M), mean, np.nan)


def _points_per_node(grid: FloatArray, ride: Ride) -> FloatArray:
    """Independent recorded heights per node: points while moving; a stop counts as one."""
    moving = np.concatenate([[True], ~ride.standing])
    known = moving & np.isfinite(ride.recorded_height_m)
    count = np.bincount(_node_of(grid, ride.distance_m[known]), minlength=len(grid))
    return np.maximum(count, 0.1)


def _recorded_noise(ride: Ride, settings: TerrainSettings) -> float:
    """White noise of the recorded height [m]: from the ride, with a floor for quantised heights."""
    moving = np.concatenate([[True], ~ride.standing]) & np.isfinite(ride.recorded_height_m)
    values = ride.recorded_height_m[moving]
    return float(np.clip(white_noise_sd(values), 0.2, settings.recorded_sd_m))


def _likeliest_walk(sources: _Sources, settings: TerrainSettings) -> float:
    """How fast the recording drifts against the ground [m/√m].

    Beforehand, a noisy recording is taken to drift like a phone's and a quiet one like a
    barometer's. With a tile to compare with, the likelihood of both heights, with the heights and
    offsets integrated out, decides between some values; the root of the mean square is returned.
    """
    least = settings.least_offset_walk_m_per_root_m
    most = settings.most_offset_walk_m_per_root_m
    expected = float(np.clip(most * sources.noise_m**2, least, most))
    if not sources.tile_weight.any() or not sources.recorded_weight.any():
        return expected
    # One node per independent tile error: the fine steps of a recording do not show its drift.
    every = max(1, round(2.0 * settings.tile_correlation_m / sources.spacing_m))
    kept = np.arange(len(sources.tile_m)) % every == 0
    sparse = replace(
        sources,
        tile_weight=np.where(kept & (sources.tile_weight > 0), settings.tile_sd_m**-2, 0.0),
        recorded_weight=np.where(kept, sources.recorded_weight, 0.0),
    )
    walks = np.geomspace(least, most, 8)
    surprise = np.log(walks / expected) / settings.offset_walk_spread
    scores = np.array([_solve(sparse, walk, settings.grade_walk_per_root_m)[2] for walk in walks])
    scores -= 0.5 * np.square(surprise)
    share = np.exp(scores - scores.max())
    return float(np.sqrt(np.sum(share * walks**2) / np.sum(share)))


def _solve(
    sources: _Sources, offset_walk: float, grade_walk: float
) -> tuple[FloatArray, FloatArray, float]:
    """Cholesky factor, solution (2k,) and log-likelihood of the walk, up to a constant."""
    bands, right = _system(sources, offset_walk, grade_walk)
    factor = cholesky_banded(bands, lower=True, check_finite=False)
    solution = np.asarray(cho_solve_banded((factor, True), right, check_finite=False))
    steps = len(sources.tile_m) - 1
    likelihood = (
        0.5 * float(right @ solution)
        - float(np.sum(np.log(factor[0])))
        - steps * float(np.log(offset_walk))
    )
    return factor, solution, likelihood


def _system(
    sources: _Sources, offset_walk: float, grade_walk: float
) -> tuple[FloatArray, FloatArray]:
    """Lower bands (5, 2k) and right-hand side (2k,) for heights and offsets, interleaved."""
    spacing = sources.spacing_m
    tile, tile_weight = np.nan_to_num(sources.tile_m), sources.tile_weight
    recorded, recorded_weight = np.nan_to_num(sources.recorded_m), sources.recorded_weight
    k = len(tile)
    bands = np.zeros((5, 2 * k))
    height, offset = bands[:, 0::2], bands[:, 1::2]
    height[0] += tile_weight + recorded_weight
    height[1] += recorded_weight  # height × offset of the same node
    offset[0] += recorded_weight
    offset[0, 0] += 1.0 / _LOOSE_M**2
    height[0, 0] += 1.0 / _LOOSE_M**2
    step = 1.0 / (offset_walk**2 * spacing)
    offset[0, :-1] += step
    offset[0, 1:] += step
    offset[2, :-1] -= step
    # Second differences of height: (h₋ − 2h + h₊)/Δ has variance walk²·Δ.
    bend = 1.0 / (grade_walk**2 * spacing**3)
    height[0, :-2] += bend
    height[0, 1:-1] += 4.0 * bend
    height[0, 2:] += bend
    height[2, :-2] -= 2.0 * bend
    height[2, 1:-1] -= 2.0 * bend
    height[4, :-2] += bend
    right = np.zeros(2 * k)
    right[0::2] = tile_weight * tile + recorded_weight * recorded
    right[1::2] = recorded_weight * recorded
    return bands, right


def _notes(tile: FloatArray, recorded: FloatArray) -> list[Note]:
    notes = []
    uncovered = float(np.mean(~np.isfinite(tile)))
    unrecorded = float(np.mean(~np.isfinite(recorded)))
    if uncovered == 1.0 and unrecorded == 1.0:
        notes.append(
            Note("no-height", "no terrain tile and no recorded height: the road is taken as level")
        )
    elif uncovered == 1.0:
        notes.append(Note("no-terrain", "no terrain tile here: the recorded height was used"))
    elif uncovered > 0.0:
        share = f"{100 * uncovered:.0f} % of the way has no terrain height"
        notes.append(Note("terrain-in-part", f"{share}: the recorded height was used there"))
    if uncovered < 1.0 and unrecorded == 1.0:
        notes.append(
            Note("no-recorded-height", "the track has no height: terrain alone, bridges unseen")
        )
    return notes
