"""The lines that a ride follows, step by step: the best sequence over the whole ride at once."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wherewatt.arrays import FloatArray, IntArray

NONE = -1
_ON_NONE = 1.0  # cost per metre of following no line
_OFF_LINE = 2.0  # cost per metre of following a line that is not near: a hole in it


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Lines near each of k steps.

    Parameters
    ----------
    first : (k+1,) place of each step's first candidate in the other two, and their length.
    line : (c,) line.
    cost : (c,) cost per metre of following it, from 0 (right on it) to 1 (as good as on none).
    """

    first: IntArray
    line: IntArray
    cost: FloatArray

    @classmethod
    def nearest(cls, steps: int, step: IntArray, line: IntArray, cost: FloatArray) -> Candidates:
        """Candidates from pairs in any order; of a line's several pieces the cheapest counts."""
        order = np.lexsort((cost, line, step))
        step, line, cost = step[order], line[order], cost[order]
        kept = np.ones(len(step), dtype=bool)
        kept[1:] = (step[1:] != step[:-1]) | (line[1:] != line[:-1])
        first = np.searchsorted(step[kept], np.arange(steps + 1))
        return cls(first, line[kept], cost[kept])


def best_lines(candidates: Candidates, step_m: float, believed_m: FloatArray) -> IntArray:
    """(k,) line that is followed at each step, `NONE` where none is.

    Minimises the sum of cost over the way plus a price for each line taken up (Viterbi 1967,
    IEEE Trans. Inf. Theory 13:260), exactly: a line is forgotten only once taking it up again
    costs no more than having followed it.

    Parameters
    ----------
    candidates : what is near.
    step_m : length of a step [m].
    believed_m : (lines,) price of taking up a line: metres right on it that make it believed.
    """
    first, line = candidates.first.tolist(), candidates.line.tolist()
    cost = candidates.cost.tolist()
    price = believed_m.tolist()
    totals: dict[int, float] = {NONE: 0.0}  # of the best sequence that ends on a line
    came_from: list[dict[int, int]] = []
    for low, high in pairwise(first):
        near = dict(zip(line[low:high], cost[low:high], strict=True))
        best = min(totals, key=totals.__getitem__)
        least = totals[best]
        origin = {NONE: best}
        after = {NONE: least + _ON_NONE * step_m}
        for name in totals.keys() | near.keys():
            if name == NONE:
                continue
            stay, fresh = totals.get(name, np.inf), least + price[name]
            total = min(stay, fresh) + near.get(name, _OFF_LINE) * step_m
            if total < after[NONE] + price[name]:
                origin[name] = name if stay <= fresh else best
                after[name] = total
        totals = after
        came_from.append(origin)
    return _trace_back(totals, came_from)


def _trace_back(totals: dict[int, float], came_from: list[dict[int, int]]) -> IntArray:
    result = np.empty(len(came_from), dtype=np.intp)
    now = min(totals, key=totals.__getitem__)
    for step in range(len(came_from) - 1, -1, -1):
        result[step] = now
        now = came_from[step][now]
    return result
