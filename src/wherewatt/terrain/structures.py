"""Bridges and cuttings: compact humps and dips that terrain tiles do not know."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray, runs
from wherewatt.terrain.settings import TerrainSettings


@dataclass(frozen=True, slots=True)
class Structure:
    """A stretch where the road leaves the terrain.

    Parameters
    ----------
    kind : "bridge" or "cutting".
    start_m, end_m : distances from the start [m].
    height_m : greatest height above (below, if negative) the terrain [m].
    """

    kind: str
    start_m: float
    end_m: float
    height_m: float


# A structure must stand out of what the drift of the recording does over this length, so often.
_DRIFT_LENGTH_M = 300.0
_DRIFT_TIMES = 5.0


def find_structures(
    above_m: FloatArray, spacing_m: float, offset_walk: float, settings: TerrainSettings
) -> tuple[Structure, ...]:
    """Structures, from the height of the recording above the terrain.

    A structure is a run of moderate length that stands off the median of its surroundings by
    more than a fixed height, by more than the two sources usually disagree, and by more than the
    recording drifts over such a length.

    Parameters
    ----------
    above_m : (k,) recorded less terrain height on an even grid [m], NaN where unknown.
    spacing_m : step of the grid [m].
    offset_walk : drift of the recording [m/√m].
    """
    known = np.isfinite(above_m)
    window = 2 * round(settings.structure_longest_m / spacing_m) + 1
    window = min(window, 2 * ((len(above_m) - 1) // 2) + 1)
    if known.sum() * spacing_m < 2.0 * settings.structure_shortest_m:
        return ()
    filled = np.interp(np.arange(len(above_m)), np.flatnonzero(known), above_m[known])
    padded = np.pad(filled, window // 2, mode="edge")
    surroundings = np.median(np.lib.stride_tricks.sliding_window_view(padded, window), axis=1)
    off = filled - surroundings
    usual = 1.4826 * float(np.median(np.abs(off)))
    drift = _DRIFT_TIMES * offset_walk * float(np.sqrt(_DRIFT_LENGTH_M))
    height = max(settings.structure_height_m, 4.0 * usual, drift)
    found = []
    for sign, kind in ((1.0, "bridge"), (-1.0, "cutting")):
        for first, end in runs(sign * off > height / 3.0):
            length = (end - first) * spacing_m
            peak = float(np.max(sign * off[first:end]))
            fits = settings.structure_shortest_m <= length <= settings.structure_longest_m
            if fits and peak >= height:
                found.append(Structure(kind, first * spacing_m, (end - 1) * spacing_m, sign * peak))
    return tuple(sorted(found, key=lambda structure: structure.start_m))
