"""One height along the ride from two that err differently.

Terrain tiles err by metres from place to place but do not drift; a recording has the fine shape
but drifts for minutes. Both are observations of one unknown profile, smoothed along distance:

    tile      = height + place error
    recording = height + offset + noise

with the grade a random walk along distance and the offset another, slower one. The least-squares
profile of that model is one banded linear system.
"""

from __future__ import annotations

from dataclasses import dataclass

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
    tile = _at_nodes(grid, ride.distance_m, tile_m)
    recorded = _at_nodes(grid, ride.distance_m, ride.recorded_height_m)
    spacing = grid[1] - grid[0]
    noise = _recorded_noise(ride, settings)
    walk = _offset_walk(tile - recorded, spacing, settings)
    notes = _notes(tile, recorded)
    structures = find_structures(recorded - tile, spacing, settings)
    trusted = np.isfinite(tile)
    for found in structures:
        trusted &= ~((grid >= found.start_m) & (grid <= found.end_m))
    if hand_tagged is not None:
        trusted &= _at_nodes(grid, ride.distance_m, hand_tagged.astype(float)) < 0.5
    # Errors that are alike over a correlation length ℓ weigh like white noise of density 2ℓσ².
    density = 2.0 * settings.tile_correlation_m * settings.tile_sd_m**2
    tile_weight = np.where(trusted, spacing / density, 0.0)
    share = _points_per_node(grid, ride)
    recorded_weight = np.where(np.isfinite(recorded), share / noise**2, 0.0)
    if not (tile_weight.any() or recorded_weight.any()):
        recorded, recorded_weight = np.zeros_like(grid), np.ones_like(grid)
        walk = settings.unknown_height_walk_m_per_root_m
    bands, right = _system(
        spacing, np.nan_to_num(tile), tile_weight, np.nan_to_num(recorded), recorded_weight,
        walk, settings.grade_walk_per_root_m,
    )
    factor = cholesky_banded(bands, lower=True, check_finite=False)
    solution = cho_solve_banded((factor, True), right, check_finite=False)
    return Profile(grid, solution[0::2], structures, tuple(notes), factor)


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
    reach = filled[np.minimum(after, len(filled) - 1)] - filled[np.maximum(after - 1, 0)]
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


def _offset_walk(difference_m: FloatArray, spacing_m: float, settings: TerrainSettings) -> float:
    """How fast the recording drifts against the terrain [m/√m].

    The difference of the two changes over a short lag by the tile's error alone and over a long
    lag by the drift too; what the long lag has more is the drift. (Medians: bridges do not count.)
    """
    spreads = []
    lags = (300.0, 1500.0)
    for lag in lags:
        steps = round(lag / spacing_m)
        change = difference_m[steps:] - difference_m[:-steps]
        change = change[np.isfinite(change)]
        if len(change) * spacing_m < 2.0 * lag:
            return settings.most_offset_walk_m_per_root_m
        spreads.append((1.4826 * float(np.median(np.abs(change)))) ** 2)
    variance_per_m = max(0.0, spreads[1] - spreads[0]) / (lags[1] - lags[0])
    return float(
        np.clip(
            np.sqrt(variance_per_m),
            settings.least_offset_walk_m_per_root_m,
            settings.most_offset_walk_m_per_root_m,
        )
    )


def _system(
    spacing: float,
    tile: FloatArray,
    tile_weight: FloatArray,
    recorded: FloatArray,
    recorded_weight: FloatArray,
    offset_walk: float,
    grade_walk: float,
) -> tuple[FloatArray, FloatArray]:
    """Lower bands (5, 2k) and right-hand side (2k,) for heights and offsets, interleaved."""
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
