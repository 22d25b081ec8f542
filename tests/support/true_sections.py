"""Sections of a simulated ride as they truly are: by definition, from what truly happened.

It shares no code with the package under test. Terrain follows the definition word for word: a
grade of at least 2 % either way, held for at least 100 m and 3 m of height. The grade at a place is
that of the 100 m around it. Of all ways to cut the ride into stretches that hold, the one is taken
that agrees with that grade over the most ground; of equals the one with the fewest stretches.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .simulator import SURFACE_NAMES, Truth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

CELL_M = 10.0
GRADE = 0.02
HELD_M = 100.0
HELD_HEIGHT_M = 3.0
NEAR_M = 1000.0
TERRAIN = ("flat", "climb", "descent")
TRAFFIC = ("light", "turn")  # the start and the end are no stops on the way, a pause is a break


@dataclass(frozen=True, slots=True)
class Stretches:
    """Labelled stretches that touch: `labels` (k,) and `edges_m` (k + 1,) by true distance [m]."""

    labels: tuple[str, ...]
    edges_m: FloatArray

    def at(self, distance_m: FloatArray) -> NDArray[np.str_]:
        """Label at each distance."""
        place = np.searchsorted(self.edges_m[1:-1], distance_m, side="right")
        return np.array(self.labels)[place]


def true_terrain(truth: Truth) -> Stretches:
    """Climbs, descents and flats of a ride."""
    return terrain_of(truth.distance_m, truth.height_m)


def terrain_of(distance_m: FloatArray, height_m: FloatArray) -> Stretches:
    """Climbs, descents and flats of a road.

    Parameters
    ----------
    distance_m, height_m : (n,) distance along the road, never falling, and its true height [m].
    """
    rising = np.concatenate([[True], np.diff(distance_m) > 0.0])
    along, height = distance_m[rising], height_m[rising]
    cells = max(1, round(float(along[-1]) / CELL_M))
    edges = np.linspace(0.0, float(along[-1]), cells + 1)
    smooth = _held_height(along, height, edges)
    labels = _best_cut(smooth, edges[1])
    first = np.flatnonzero(np.diff(labels, prepend=-1))
    return Stretches(tuple(TERRAIN[label] for label in labels[first]), edges[[*first, cells]])


def true_flow(truth: Truth) -> Stretches:
    """Stop-and-go from stop to stop where two of them lie within a kilometre; else steady."""
    end_m = float(truth.distance_m[-1])
    places = [
        float(np.interp(from_s, truth.time_s, truth.distance_m))
        for from_s, _, stop in truth.stops
        if stop.kind in TRAFFIC
    ]
    return flow_of(places, end_m)


def flow_of(stops_m: list[float], end_m: float) -> Stretches:
    """Stop-and-go and steady stretches of a ride.

    Parameters
    ----------
    stops_m : distances at which the ride stood in traffic, in order [m].
    end_m : length of the ride [m].
    """
    stretches: list[list[float]] = []
    for before, after in pairwise(stops_m):
        if after - before > NEAR_M:
            continue
        if stretches and stretches[-1][1] == before:
            stretches[-1][1] = after
        else:
            stretches.append([before, after])
    labels, edges = ["steady"], [0.0]
    for start, end in stretches:
        labels += ["stop-and-go", "steady"]
        edges += [start, end]
    return Stretches(tuple(labels), np.array([*edges, end_m]))


def true_surface(truth: Truth) -> list[tuple[float, float, str]]:
    """Start, end [s since the start of the ride] and name of every run of surface."""
    first = np.flatnonzero(np.diff(truth.surface, prepend=-1))
    edge_s = truth.time_s[[*first, len(truth.surface)]]
    names = [SURFACE_NAMES[number] for number in truth.surface[first]]
    return list(zip(edge_s[:-1].tolist(), edge_s[1:].tolist(), names, strict=True))


def _held_height(along_m: FloatArray, height_m: FloatArray, at_m: FloatArray) -> FloatArray:
    """Mean height of the road over `HELD_M` around places, less of it near the ends [m].

    The slope of this mean is the grade from end to end of the window.
    """
    area = np.concatenate([[0.0], np.cumsum(np.diff(along_m) * (height_m[1:] + height_m[:-1]) / 2)])
    fine = np.linspace(0.0, float(along_m[-1]), int(along_m[-1]) + 1)
    area_at = np.interp(fine, along_m, area)
    half = np.maximum(np.minimum(HELD_M / 2.0, np.minimum(at_m, at_m[-1] - at_m)), 0.5)
    low, high = np.maximum(at_m - half, 0.0), np.minimum(at_m + half, at_m[-1])
    return (np.interp(high, fine, area_at) - np.interp(low, fine, area_at)) / (high - low)


def _best_cut(height_m: FloatArray, cell_m: float) -> IntArray:
    """Label of each cell between heights on an even grid, by trying every stretch there could be.

    Exact: the best cut up to an edge is the best last stretch after the best cut before it.
    """
    cells = len(height_m) - 1
    grade = np.diff(height_m) / cell_m
    pointwise = np.select([grade >= GRADE, grade <= -GRADE], [1, 2], 0)
    agreed = np.vstack(
        [np.zeros(3), np.cumsum(pointwise[:, None] == np.arange(3), axis=0, dtype=np.float64)]
    )
    shortest = min(cells, int(np.ceil(HELD_M / cell_m - 1e-9)))
    best = np.full((cells + 1, 3), -np.inf)
    start_of = np.zeros((cells + 1, 3), dtype=np.intp)
    before = np.full((cells + 1, 3), -np.inf)  # best cut up to here that ends in another label
    before[0] = 0.0
    for end in range(shortest, cells + 1):
        starts = np.arange(end - shortest + 1)
        rise = height_m[end] - height_m[starts]
        needed = np.maximum(HELD_HEIGHT_M, GRADE * cell_m * (end - starts))
        for label, holds in enumerate((rise < np.inf, rise >= needed, -rise >= needed)):
            gain = before[starts, label] + agreed[end, label] - agreed[starts, label] - 1e-4
            gain = np.where(holds, gain, -np.inf)
            start_of[end, label] = np.argmax(gain)
            best[end, label] = np.max(gain)
        for label in range(3):
            before[end, label] = np.max(np.delete(best[end], label))
    return _trace_back(best, start_of)


def _trace_back(best: FloatArray, start_of: IntArray) -> IntArray:
    labels = np.zeros(len(best) - 1, dtype=np.intp)
    end, label = len(labels), int(np.argmax(best[-1]))
    while end > 0:
        start = int(start_of[end, label])
        labels[start:end] = label
        end = start
        others = np.where(np.arange(3) == label, -np.inf, best[start])
        label = int(np.argmax(others))
    return labels
