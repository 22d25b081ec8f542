"""Humps of a road above the ground, of every length and at every place: how sharply each is seen.

A hump of shape t is seen in what was recorded, y, with the information t·S⁻¹t, where S is the
covariance of y without it. This is t·W·t, with W the weights of the recording, less the part that
the unknowns of the model can imitate. `structures` holds them against each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from wherewatt.arrays import FloatArray, IntArray, runs
from wherewatt.terrain.model import Observed
from wherewatt.terrain.solution import Solution

SAMPLES = 12
"""Places at which a sweep needs the information of its humps."""

STEPS = 2
"""Places to a node: humps begin and end at nodes and half-way between them."""

_SPREAD = np.linspace(0.0, 1.0, SAMPLES)
_FEWEST_HEIGHTS = 5  # recorded under a hump for its shape to be believed
_MOST_VISITS = 4  # that are looked at where humps are only compared
_NEXT_VISIT = 100  # nodes between visits that hardly know of each other
_BEYOND = 100  # places behind the last that was visited, for humps that reach beyond it
_BLOCK = 42  # humps worked out together: what is gathered for them stays in fast memory


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """What was recorded, gathered at the first visit to each place; arrays (p,).

    Parameters
    ----------
    solution : the model without structures.
    place_of : (k,) the place at which each node lies; those between nodes are bare.
    by_place, place : (k,) nodes in order of their places, and these.
    pull : weighted residual of the recording [1/m].
    weight : weight of the recording [1/m²].
    recorded : (p + 1,) number of heights recorded before each place.
    """

    solution: Solution
    place_of: IntArray
    by_place: IntArray
    place: IntArray
    pull: FloatArray
    weight: FloatArray
    recorded: FloatArray

    @classmethod
    def of(cls, observed: Observed, solution: Solution, first_visit: IntArray) -> Places:
        """Gather what was recorded; places reach a little beyond the last that was visited.

        Parameters
        ----------
        first_visit : (k,) the node at which each place was first visited.
        """
        residual = np.nan_to_num(observed.recorded_m) - solution.recorded_fit_m
        place = STEPS * first_visit
        reach = min(STEPS * len(observed), int(place.max()) + _BEYOND)
        pull, weight, heights = (
            np.bincount(place, weights=values, minlength=reach).astype(np.float64)
            for values in (
                solution.recorded_weight * residual,
                solution.recorded_weight,
                observed.count,
            )
        )
        by_place = np.argsort(place, kind="stable")
        recorded = np.concatenate([[0.0], np.cumsum(heights)])
        return cls(solution, place, by_place, place[by_place], pull, weight, recorded)

    def information(self, span: IntArray) -> FloatArray:
        """(j,) t·S⁻¹t of humps (j, 2), given as first place and number of cells."""
        result = np.empty(len(span))
        for first in range(0, len(span), _BLOCK):
            block = slice(first, first + _BLOCK)
            result[block] = self._shown(span[block]).some().information(self.solution)
        return result

    def _shown(self, span: IntArray) -> _Shown:
        """What is seen of humps (j, 2)."""
        start, cells = span.T
        first, stop = np.searchsorted(self.place, (start, start + cells + 1))
        hump = np.repeat(np.arange(len(span)), stop - first)
        node = self.by_place[np.arange(len(hump)) + (stop - np.cumsum(stop - first))[hump]]
        apart = 2 * len(self.place) + _NEXT_VISIT  # more than any nodes of one hump are
        in_order = np.sort(apart * hump + node)
        begins = np.flatnonzero(in_order[1:] - in_order[:-1] > _NEXT_VISIT) + 1
        hump, node = np.divmod(in_order, apart)
        shape = _recorded_deck(self.place_of[node] - start[hump], cells[hump])
        pull = self.solution.recorded_weight[node] * shape
        visit = np.concatenate([[0], begins])
        plain = np.add.reduceat(pull * shape, visit)
        return _Shown(node, pull, visit, hump[visit], plain, np.ones(len(visit)))

    def sweep(self, cells: int) -> Sweep:
        """Humps of one length at every place."""
        inside = self.recorded[cells:-1] - self.recorded[1:-cells]  # not at a hump's ends
        usable = np.flatnonzero(inside >= _FEWEST_HEIGHTS)
        some = usable
        if len(usable):
            some = usable[np.rint(_SPREAD * (len(usable) - 1)).astype(np.intp)]
        plain = np.convolve(self.weight, np.square(deck(cells)), mode="valid")
        plain[inside < _FEWEST_HEIGHTS] = np.inf
        score = np.convolve(self.pull, deck(cells), mode="valid")
        return Sweep(cells, score, plain, some)

    def visits(self, start: int, cells: int) -> list[tuple[int, int]]:
        """First and last node of every visit to a span."""
        inside = (self.place_of >= start) & (self.place_of <= start + cells)
        gaps_closed = [(first, end - 1) for first, end in runs(inside)]
        least = cells / (2.0 * STEPS)
        return [(first, last) for first, last in gaps_closed if last - first >= least]


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """What v visits show of humps; one visit after the other.

    Parameters
    ----------
    node : (j,) nodes, in order within each visit.
    pull : (j,) shape of the hump there times the weight of the recording [1/m²].
    visit : (v,) where the nodes of each visit begin.
    hump : (v,) the hump that it shows.
    plain : (v,) t·W·t [1/m²].
    times : (v,) for how many visits it stands.
    """

    node: IntArray
    pull: FloatArray
    visit: IntArray
    hump: IntArray
    plain: FloatArray
    times: FloatArray

    def some(self) -> _Shown:
        """The first visit to each hump, and a few of the others for all of these.

        They are much alike, but the terrain is known at the first alone.
        """
        first = np.searchsorted(self.hump, np.arange(self.hump[-1] + 2))
        if (first[1:] - first[:-1]).max() <= _MOST_VISITS:
            return self
        rank = np.arange(len(self.hump)) - first[self.hump]
        last = np.maximum(first[self.hump + 1] - first[self.hump] - 1, 1)
        steps = _MOST_VISITS - 1
        kept = rank * steps // last != (rank - 1) * steps // last
        all_later, kept_later = (
            np.bincount(self.hump, weights=self.plain * which)
            for which in (rank > 0, kept & (rank > 0))
        )
        stands_for = (all_later / np.maximum(kept_later, 1e-12))[self.hump]
        count = np.append(self.visit[1:], len(self.node)) - self.visit
        inside = np.repeat(kept, count)
        return _Shown(
            node=self.node[inside],
            pull=self.pull[inside],
            visit=np.cumsum(count[kept]) - count[kept],
            hump=self.hump[kept],
            plain=self.plain[kept],
            times=np.where(rank > 0, stands_for, 1.0)[kept],
        )

    def information(self, solution: Solution) -> FloatArray:
        """(h,) t·S⁻¹t of each hump, each visit for itself [1/m²]."""
        imitated = solution.imitated(self.node, self.pull, self.visit)
        plain, left = (
            np.bincount(self.hump, weights=self.times * values)
            for values in (self.plain, self.plain - imitated)
        )
        return np.maximum(left, 1e-6 * np.maximum(plain, 1e-12))


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """Humps of one length, by their first place; arrays (s,).

    Parameters
    ----------
    cells : their length.
    score : t·S⁻¹y [1/m].
    plain : t·W·t [1/m²]; infinite where too little was recorded.
    sampled : some places spread over those where enough was; empty without any.
    """

    cells: int
    score: FloatArray
    plain: FloatArray
    sampled: IntArray

    def spans(self, start: IntArray) -> IntArray:
        """(j, 2) first place and number of cells of some humps."""
        return np.column_stack([start, np.full(len(start), self.cells)])

    def peaks(self, information: FloatArray, least_sds: float) -> tuple[IntArray, FloatArray]:
        """Humps that stand out by so much at least, and by no less than their neighbours.

        The part of t·W·t that cannot be imitated changes slowly, so it is linear between the
        places at which it is known. What comes behind the last is the first.

        Parameters
        ----------
        information : t·S⁻¹t at the sampled places, each visit for itself [1/m²].

        Returns
        -------
        First places, and by how many standard deviations these humps stand out.
        """
        own = information / self.plain[self.sampled]
        least = least_sds**2 * own.min() * self.plain
        start = np.flatnonzero(np.square(self.score) >= least)
        near = (start + np.array([[-1], [0], [1]])) % len(self.score)
        sharpness = self.plain[near] * np.interp(near, self.sampled, own)
        before, sds, after = np.abs(self.score[near]) / np.sqrt(sharpness)
        peak = (sds >= least_sds) & (sds >= before) & (sds >= after)
        return start[peak], sds[peak]


@cache
def deck(cells: int) -> FloatArray:
    """(cells + 1,) a ramp, a deck, a ramp, each a third of the length; 1 high, as recorded."""
    height = _recorded_deck(np.arange(cells + 1), cells)
    height.setflags(write=False)  # it is shared
    return height


def _recorded_deck(place: IntArray, cells: IntArray | int) -> FloatArray:
    """Its mean height as far around some places as a node gathers heights (Simpson's rule)."""
    half = STEPS / 2.0
    around = _deck_at((place - half) / cells) + _deck_at((place + half) / cells)
    return np.asarray((around + 4.0 * _deck_at(place / cells)) / 6.0)


def _deck_at(part: FloatArray) -> FloatArray:
    """Its height at some parts of its length; 0 before and behind."""
    return np.minimum(np.maximum(1.5 - np.abs(3.0 * part - 1.5), 0.0), 1.0)
