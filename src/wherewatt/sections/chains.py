"""The longest way to lay one ride along another so that both go forward."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray

_MOST_STRETCH = 2.0  # a ride that grows this much faster than the other has left it


@dataclass(frozen=True, slots=True, eq=False)
class Passages:
    """Places that both rides went through: (c,) distances in each [m], by `a_m`, then `b_m`."""

    a_m: FloatArray
    b_m: FloatArray

    @classmethod
    def nearest(
        cls, a_m: FloatArray, b_m: FloatArray, apart_m: FloatArray, once_m: float
    ) -> Passages:
        """Passages from pairs in any order; of those within `once_m` the nearest counts."""
        order = np.lexsort((b_m, a_m))
        a_m, b_m, apart_m = a_m[order], b_m[order], apart_m[order]
        new = np.ones(len(a_m), dtype=bool)
        new[1:] = (np.diff(a_m) > 0.0) | (np.diff(b_m) > once_m)
        passage = np.cumsum(new) - 1
        by_nearness = np.lexsort((apart_m, passage))
        first = by_nearness[np.flatnonzero(np.diff(passage[by_nearness], prepend=-1))]
        return cls(a_m[first], b_m[first])

    def without(self, chain: IntArray, reach_m: float) -> Passages:
        """The passages in neither ride near those of a chain."""
        kept = _away(self.a_m, self.a_m[chain], reach_m) & _away(self.b_m, self.b_m[chain], reach_m)
        return Passages(self.a_m[kept], self.b_m[kept])


def best_chain(passages: Passages, *, reach_m: float, step_m: float) -> IntArray:
    """Indices of the passages of the longest chain along which both distances rise.

    Passages are joined into threads along which both rides go forward alike; a chain is a row of
    threads, each beginning after the one before has ended in both rides. The most passages win
    (dynamic programming over threads).
    """
    threads = _threads(passages, reach_m, step_m)
    if not threads:
        return np.empty(0, dtype=np.intp)
    threads.sort(key=lambda thread: float(passages.a_m[thread[0]]))
    heads, tails = [thread[0] for thread in threads], [thread[-1] for thread in threads]
    a_end, b_end = passages.a_m[tails] - reach_m, passages.b_m[tails] - reach_m
    best = np.zeros(len(threads))
    before = np.full(len(threads), -1, dtype=np.intp)
    for at, thread in enumerate(threads):
        head = heads[at]
        fits = (a_end[:at] <= passages.a_m[head]) & (b_end[:at] <= passages.b_m[head])
        value = np.where(fits, best[:at], 0.0)
        if fits.any():
            before[at] = int(np.argmax(value))
        best[at] = len(thread) + np.max(value, initial=0.0)
    return _joined(passages, threads, before, int(np.argmax(best)))


def _threads(passages: Passages, reach_m: float, step_m: float) -> list[list[int]]:
    """Passages joined along which both rides go forward by about the same."""
    done: list[list[int]] = []
    growing: list[list[int]] = []
    a_m, b_m = passages.a_m.tolist(), passages.b_m.tolist()
    for index, (a, b) in enumerate(zip(a_m, b_m, strict=True)):
        done += [thread for thread in growing if a - a_m[thread[-1]] > reach_m + step_m]
        growing = [thread for thread in growing if a - a_m[thread[-1]] <= reach_m + step_m]
        best, least = None, np.inf
        for thread in growing:
            on_a, on_b = a - a_m[thread[-1]], b - b_m[thread[-1]]
            uneven = abs(on_b - on_a)
            if on_a > 0.0 and 0.0 < on_b <= _MOST_STRETCH * on_a + step_m and uneven < least:
                best, least = thread, uneven
        if best is None:
            growing.append([index])
        else:
            best.append(index)
    return done + growing


def _joined(passages: Passages, threads: list[list[int]], before: IntArray, last: int) -> IntArray:
    """Passages of a row of threads, less those that would turn either ride back."""
    row = []
    while last >= 0:
        row.append(threads[last])
        last = int(before[last])
    chain = np.concatenate([np.array(thread, dtype=np.intp) for thread in reversed(row)])
    forward = np.ones(len(chain), dtype=bool)
    for way in (passages.a_m[chain], passages.b_m[chain]):
        forward[1:] &= way[1:] > np.maximum.accumulate(way)[:-1]
    return chain[forward]


def _away(way_m: FloatArray, taken_m: FloatArray, reach_m: float) -> BoolArray:
    """True where nothing taken is within reach."""
    taken = np.sort(taken_m)
    after = np.searchsorted(taken, way_m)
    left = np.abs(way_m - taken[np.maximum(after - 1, 0)])
    right = np.abs(way_m - taken[np.minimum(after, len(taken) - 1)])
    return np.asarray(np.minimum(left, right) > reach_m)
