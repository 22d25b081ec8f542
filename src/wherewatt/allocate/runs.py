"""Runs of a ride's cells, and which unknowns two runs have in common.

Between call-outs, of a section, or a cell alone: the energies of any two runs are off together
where they share a stretch of the discrepancy, and wherever the height error of their sections is
correlated.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray

_RUNS_AT_ONCE = 32  # whose sections are looked at together


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Parts of runs that have one label each.

    Parameters
    ----------
    cell : (j,) cells of all runs, run by run.
    begin : (i,) where each piece begins among these.
    run, label : (i,) of each piece.
    """

    cell: IntArray
    begin: IntArray
    run: IntArray
    label: IntArray

    def sums(self, values: FloatArray) -> FloatArray:
        """(i,) sums of values (c,) over the cells of each piece."""
        return np.asarray(np.add.reduceat(values[self.cell], self.begin))


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of cells, in order; they may overlap.

    Parameters
    ----------
    first, end : (g,) first cell of each run, and the cell after its last one.
    stretch, section : (c,) of each cell.
    """

    first: IntArray
    end: IntArray
    stretch: IntArray
    section: IntArray

    def __len__(self) -> int:
        return len(self.first)

    @cached_property
    def members(self) -> tuple[IntArray, IntArray]:
        """Run and cell of all cells of all runs, run by run."""
        count = self.end - self.first
        run = np.repeat(np.arange(len(self)), count)
        return run, np.arange(len(run)) + np.repeat(self.end - np.cumsum(count), count)

    @cached_property
    def stretches(self) -> Pieces:
        """Parts of the runs on one stretch."""
        run, cell = self.members
        label = self.stretch[cell]
        begin = np.flatnonzero(_changes(run) | _changes(label))
        return Pieces(cell, begin, run[begin], label[begin])

    def are_sections(self, sections: int) -> bool:
        """Whether the runs are the sections themselves, so many of them."""
        if len(self) != sections or not (self.first < self.end).all():
            return False
        number = np.arange(sections)
        ends = self.section[self.first], self.section[self.end - 1]
        return all(np.array_equal(end, number) for end in ends)

    def by_section(self, values: FloatArray, sections: int) -> FloatArray:
        """(g, sections) sums of values (c,) over the cells of each run, by section."""
        run, cell = self.members
        place = run * sections + self.section[cell]
        flat = np.bincount(place, values[cell], minlength=len(self) * sections)
        return np.asarray(flat, dtype=np.float64).reshape(len(self), sections)

    def sums(self, values: FloatArray) -> FloatArray:
        """(g, …) sums over the cells of each run; the first axis of `values` is cells."""
        so_far = np.zeros((len(values) + 1, *values.shape[1:]))
        np.cumsum(values, axis=0, out=so_far[1:])
        return np.asarray(so_far[self.end] - so_far[self.first])

    @cached_property
    def own_pairs(self) -> tuple[IntArray, IntArray]:
        """All pairs of pieces of these runs on the same stretch."""
        return pairs(self.stretches.label, self.stretches.label)


def pairs(label: IntArray, other: IntArray) -> tuple[IntArray, IntArray]:
    """All pairs of places, in one list of labels and in another, with the same label."""
    order = np.argsort(other, kind="stable")
    begin = np.searchsorted(other, label, side="left", sorter=order)
    count = np.searchsorted(other, label, side="right", sorter=order) - begin
    one = np.repeat(np.arange(len(label)), count)
    place = np.arange(len(one)) + np.repeat(begin + count - np.cumsum(count), count)
    return one, order[place]


def through_sections(
    one: Runs, other: Runs, per_metre: FloatArray, rise_covariance: FloatArray
) -> FloatArray:
    """(g, g) covariance of sums over runs that is due to the errors of the sections' rise.

    Parameters
    ----------
    per_metre : (c,) what a cell's value grows by for each metre of that error.
    rise_covariance : (sections, sections) of the errors [m²].
    """
    of_one = _weighed(one, per_metre, rise_covariance)
    if other.are_sections(len(rise_covariance)):
        of_one *= other.sums(per_metre)
        return of_one
    return np.ascontiguousarray(_weighed(other, per_metre, of_one.T).T)


def _weighed(runs: Runs, per_metre: FloatArray, of_sections: FloatArray) -> FloatArray:
    """(g, k) sums over runs of what is known of each cell's section (sections, k), weighed."""
    if runs.are_sections(len(of_sections)):
        return runs.sums(per_metre)[:, None] * of_sections
    weights = runs.by_section(per_metre, len(of_sections))
    if len(runs) <= _RUNS_AT_ONCE:
        return weights @ of_sections
    product = np.empty((len(runs), of_sections.shape[1]))
    # A run has few sections, and those of its neighbours are near.
    for first in range(0, len(runs), _RUNS_AT_ONCE):
        some = weights[first : first + _RUNS_AT_ONCE]
        there = np.flatnonzero(some.any(axis=0))
        own = slice(there[0], there[-1] + 1) if len(there) else slice(0)
        np.matmul(some[:, own], of_sections[own], out=product[first : first + len(some)])
    return product


def add_stretches(covariance: FloatArray, one: Runs, other: Runs, of_stretch: FloatArray) -> None:
    """Add to a covariance of sums over runs what is due to the discrepancies of the stretches.

    Parameters
    ----------
    covariance : (g, g) in one piece of memory, row by row.
    of_stretch : (c,) what a cell's value grows by for a standard deviation of its stretch's.
    """
    same = one is other
    left, right = one.own_pairs if same else pairs(one.stretches.label, other.stretches.label)
    per_piece = one.stretches.sums(of_stretch)
    of_other = per_piece if same else other.stretches.sums(of_stretch)
    place = one.stretches.run[left] * len(other) + other.stretches.run[right]
    np.add.at(covariance.reshape(-1), place, per_piece[left] * of_other[right])


def _changes(label: IntArray) -> BoolArray:
    """True where a label differs from the one before."""
    changes = np.ones(len(label), dtype=bool)
    np.not_equal(label[1:], label[:-1], out=changes[1:])
    return changes
