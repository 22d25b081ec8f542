"""Bridges, tunnels and cuttings: compact humps and dips that terrain tiles do not know."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray, runs
from wherewatt.terrain.model import Observed
from wherewatt.terrain.settings import TerrainSettings
from wherewatt.terrain.solution import Solution

_LENGTH_STEP = 1.3  # from one length that is tried to the next
_FEWEST_HEIGHTS = 5  # recorded under a structure for its shape to be believed
_SAMPLES = 12  # places at which the sharpness of a template is worked out; linear in between
_MOST_CANDIDATES = 60


@dataclass(frozen=True, slots=True)
class Structure:
    """A stretch where the road leaves the terrain.

    Parameters
    ----------
    kind : "bridge" or "cutting".
    start_m, end_m : distances from the start [m].
    height_m : greatest height above (below, if negative) the terrain [m].
    height_sd_m : its standard deviation [m].
    """

    kind: str
    start_m: float
    end_m: float
    height_m: float
    height_sd_m: float


def find_structures(
    observed: Observed, solution: Solution, first_visit: IntArray, settings: TerrainSettings
) -> tuple[Structure, ...]:
    """Structures, by matched filter.

    A hump of unknown height in the recording, at every place and of several lengths, is held
    against the model without it: with the covariance S of what was observed, y, and the hump's
    shape t, its height is t·S⁻¹y over t·S⁻¹t, with the second as its information (the generalised
    likelihood ratio; Kay 1998, Fundamentals of Statistical Signal Processing II, section 7.4).
    Those that stand out by enough standard deviations are kept, the clearest first. A place
    visited again shows its hump again and counts with all its visits.

    Parameters
    ----------
    first_visit : (k,) the node at which each place was first visited.
    """
    places = _Places.of(observed, solution, first_visit)
    span = _candidates(places, settings)
    if not len(span):
        return ()
    information = places.information(span, solution)
    height = np.array([places.score(start, cells) for start, cells in span.tolist()]) / information
    sds = np.abs(height) * np.sqrt(information)
    least = np.where(height > 0, settings.bridge_sds, settings.cutting_sds)
    clear = (sds >= least) & (np.abs(height) >= settings.structure_height_m)
    order = np.flatnonzero(clear)[np.argsort(-sds[clear], kind="stable")]
    found: list[Structure] = []
    for one in order[_apart(span[order])].tolist():
        for start, end in places.visits(*span[one].tolist()):
            found.append(
                Structure(
                    "bridge" if height[one] > 0 else "cutting",
                    start * observed.spacing_m,
                    end * observed.spacing_m,
                    float(height[one]),
                    float(information[one] ** -0.5),
                )
            )
    return tuple(sorted(found, key=lambda structure: structure.start_m))


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """What was recorded, gathered at the first visit to each place; arrays (k,).

    Parameters
    ----------
    first_visit : the node at which each place was first visited.
    by_place, place : nodes in order of their places, and these.
    pull : weighted residual of the recording [1/m].
    weight : weight of the recording [1/m²].
    """

    solution: Solution
    first_visit: IntArray
    by_place: IntArray
    place: IntArray
    pull: FloatArray
    weight: FloatArray

    @classmethod
    def of(cls, observed: Observed, solution: Solution, first_visit: IntArray) -> _Places:
        residual = np.nan_to_num(observed.recorded_m) - solution.recorded_fit_m
        pull, weight = (
            np.bincount(first_visit, weights=values, minlength=len(values)).astype(np.float64)
            for values in (solution.recorded_weight * residual, solution.recorded_weight)
        )
        by_place = np.argsort(first_visit, kind="stable")
        return cls(solution, first_visit, by_place, first_visit[by_place], pull, weight)

    def score(self, start: int, cells: int) -> float:
        """t·S⁻¹y of a hump that begins at a node and is some cells long."""
        return float(self.pull[start : start + cells + 1] @ _deck(cells))

    def scores(self, cells: int) -> FloatArray:
        """t·S⁻¹y of a hump of some cells, by its first node."""
        return np.convolve(self.pull, _deck(cells), mode="valid")

    def information(self, span: IntArray, solution: Solution) -> FloatArray:
        """(j,) t·S⁻¹t of humps, given as first node and number of cells (j, 2)."""
        edges = np.searchsorted(self.place, np.cumsum(span, axis=1) + np.array([0, 1]))
        result = np.empty(len(span))
        for index, (start, cells, first, stop) in enumerate(np.hstack([span, edges]).tolist()):
            node = np.sort(self.by_place[first:stop])
            shape = _deck(cells)[self.first_visit[node] - start]
            pulled = solution.recorded_weight[node] * shape
            plain = float(pulled @ shape)
            left = plain - solution.imitated(node, pulled)
            result[index] = max(left, 1e-6 * max(plain, 1e-12))
        return result

    def rough_information(self, cells: int) -> FloatArray:
        """t·S⁻¹t by first node, roughly; infinite where too little was recorded.

        It is t·W·t, exact at each place, times the part of it that the other unknowns cannot
        imitate, which changes slowly: worked out at some places, each visit for itself, and
        linear in between.
        """
        shape = _deck(cells)
        plain = np.convolve(self.weight, np.square(shape), mode="valid")
        known = np.concatenate([[0], np.cumsum(self.weight > 0)])
        seen = known[cells:-1] - known[1:-cells]  # within the hump, not at its ends
        usable = np.flatnonzero(seen >= _FEWEST_HEIGHTS)
        result = np.full(len(plain), np.inf)
        if len(usable):
            some = usable[np.linspace(0, len(usable) - 1, _SAMPLES).round().astype(np.intp)]
            span = np.column_stack([some, np.full(len(some), cells)])
            untied = replace(self.solution, ties=None)
            own = np.interp(usable, some, self.information(span, untied) / plain[some])
            result[usable] = plain[usable] * own
        return result

    def visits(self, start: int, cells: int) -> list[tuple[int, int]]:
        """First and last node of every visit to a span."""
        inside = (self.first_visit >= start) & (self.first_visit <= start + cells)
        gaps_closed = [(first, end - 1) for first, end in runs(inside)]
        return [(first, last) for first, last in gaps_closed if last - first >= cells // 2]


def _candidates(places: _Places, settings: TerrainSettings) -> IntArray:
    """(j, 2) first node and number of cells of what may be a structure, clearest first."""
    spans, sds = [np.zeros((0, 2), dtype=np.intp)], [np.zeros(0)]
    for cells in _lengths(places, settings):
        rough = np.abs(places.scores(cells)) / np.sqrt(places.rough_information(cells))
        clear = np.flatnonzero((rough >= 0.8 * settings.bridge_sds) & _peaks(rough))
        spans.append(np.column_stack([clear, np.full(len(clear), cells)]))
        sds.append(rough[clear])
    clearest = np.argsort(-np.concatenate(sds), kind="stable")[:_MOST_CANDIDATES]
    return np.concatenate(spans)[clearest]


def _peaks(values: FloatArray) -> BoolArray:
    """True where neither neighbour is higher; the last neighbours the first."""
    ahead = values[1:] >= values[:-1]
    behind = values[:-1] >= values[1:]
    ends = values[0] >= values[-1], values[-1] >= values[0]
    return np.append(ends[0], ahead) & np.append(behind, ends[1])


def _lengths(places: _Places, settings: TerrainSettings) -> list[int]:
    """Lengths to try, in cells, each longer than the last by a fixed ratio."""
    spacing = settings.grid_m
    longest = min(settings.structure_longest_m, 0.4 * spacing * len(places.weight))
    count = int(np.log(max(longest / settings.structure_shortest_m, 1.0)) / np.log(_LENGTH_STEP))
    lengths = settings.structure_shortest_m * _LENGTH_STEP ** np.arange(count + 1)
    return sorted({max(3, round(length / spacing)) for length in lengths.tolist()})


@cache
def _deck(cells: int) -> FloatArray:
    """(cells + 1,) a ramp, a deck, a ramp, each a third of the length; 1 high."""
    part = np.linspace(0.0, 1.0, cells + 1)
    deck = np.clip(3.0 * np.minimum(part, 1.0 - part), 0.0, 1.0)
    deck.setflags(write=False)  # it is shared
    return deck


def _apart(span: IntArray) -> IntArray:
    """Indices of those that do not touch a better one; the better come first."""
    kept: list[int] = []
    for one, (start, cells) in enumerate(span.tolist()):
        if all(start + cells <= span[other, 0] or start >= span[other].sum() for other in kept):
            kept.append(one)
    return np.array(kept, dtype=np.intp)
