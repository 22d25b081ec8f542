"""The same road ridden again, out and back or in laps: it has one height."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from wherewatt.arrays import BoolArray, IntArray, runs
from wherewatt.motion.plane import local_plane
from wherewatt.terrain.nodes import Nodes
from wherewatt.terrain.settings import TerrainSettings

_APART_M = 150.0  # along the ride; nearer places are the same visit
_PARALLEL_RAD = np.radians(25.0)
_ALONG = 0.6  # of a spacing: nodes side by side are about half of one apart, on a bend some more
_LEAST_WAY_M = 1e-3  # between nodes; less is a place held
_SHORTEST_M = 120.0  # shorter meetings are crossings
_STRAY_NODES = 2  # how much faster than the ride the first visit may go along
_WINDOW = 2 * _STRAY_NODES  # nodes of a visit that are looked at together
_BLOCK_NODES = 512  # whose windows are looked at together: they stay in fast memory

ComplexArray = npt.NDArray[np.complex128]


def first_visits(nodes: Nodes, settings: TerrainSettings) -> IntArray:
    """(k,) the node at which each place was first visited; itself where that is the first time.

    Places are the same if they are near, the ways through them parallel, in one direction or the
    other, and both hold for a while. A ride that ends where it began has closed a loop.
    """
    east, north = local_plane(nodes.latitude_deg, nodes.longitude_deg).T
    place = east + 1j * north
    end = len(nodes) - 1
    is_back = abs(place[end] - place[0]) <= settings.same_place_m
    reach_m = _Reach(_ALONG * nodes.spacing_m, settings.same_place_m)
    met = _met(place, reach_m, int(_APART_M / nodes.spacing_m))
    visit = _roots(_lasting(met, nodes.spacing_m))
    if visit[end] == end and is_back and nodes.distance_m[end] > _APART_M:
        visit[end] = 0
    return visit


class _Reach(NamedTuple):
    """How far from a node another one is near: along its way and across it [m].

    Two recordings of one road lie apart across it; along it nodes lie anywhere.
    """

    along: float
    across: float


def _met(place: ComplexArray, reach_m: _Reach, least: int) -> IntArray:
    """(k,) the nearest node of the earliest visit near by, on a way that is parallel; −1 without.

    The earliest node in the cells around a place is on the earliest visit, most often, and so are
    the next few. Where these are on another road, the earliest node after them is tried.

    Parameters
    ----------
    least : nodes by which visits are apart.
    """
    cells = _Cells.of(place, math.hypot(*reach_m))
    way = np.gradient(place)
    met = np.full(len(place), -1)
    node = np.arange(least + _WINDOW, len(place))
    start = cells.earliest_around()[node]
    while True:
        earlier = np.flatnonzero(start < node - least)
        if not len(earlier):
            return met
        node = node[earlier]
        start = np.minimum(start[earlier], node - least - _WINDOW)
        met[node] = _nearest_parallel(place, way, node, start, reach_m)
        missed = np.flatnonzero(met[node] < 0)
        node = node[missed]
        start = cells.earliest_around_since(node, start[missed] + _WINDOW)


def _nearest_parallel(
    place: ComplexArray, way: ComplexArray, node: IntArray, start: IntArray, reach_m: _Reach
) -> IntArray:
    """(j,) nearest node within a window for each node, on a parallel way; −1 if none is near."""
    places, ways = sliding_window_view(place, _WINDOW), sliding_window_view(way, _WINDOW)
    nearest = np.empty(len(node), dtype=np.intp)
    for first in range(0, len(node), _BLOCK_NODES):
        block = slice(first, first + _BLOCK_NODES)
        own, window = node[block, np.newaxis], start[block]
        along = way[own].conj() / np.maximum(np.abs(way[own]), _LEAST_WAY_M)
        apart = (places[window] - place[own]) * along
        turned = ways[window] * along
        near = np.abs(turned.imag) <= np.tan(_PARALLEL_RAD) * np.abs(turned.real)
        near &= np.abs(apart.imag) <= reach_m.across
        near &= np.abs(apart.real) <= reach_m.along
        apart_m2 = np.where(near, apart.real**2 + apart.imag**2, np.inf)
        least = apart_m2.argmin(axis=1)
        is_near = near[np.arange(len(least)), least]
        nearest[block] = np.where(is_near, window + least, -1)
    return nearest


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Nodes sorted into square cells.

    Parameters
    ----------
    key : (c,) numbers of the cells that hold any, in order.
    width : by how much these differ from row to row.
    cell : (k,) index of each node's cell.
    order : (k,) nodes by cell, and in order within each.
    start : (c,) where the nodes of each cell begin therein.
    """

    key: IntArray
    width: int
    cell: IntArray
    order: IntArray
    start: IntArray

    @classmethod
    def of(cls, place: ComplexArray, side_m: float) -> _Cells:
        column, row = (
            ((part - part.min()) / side_m).astype(np.intp) for part in (place.real, place.imag)
        )
        width = int(column.max()) + 3
        row *= width
        row += column
        order = np.argsort(row, kind="stable")
        key = row[order]
        begins = np.ones(len(key), dtype=bool)
        np.not_equal(key[1:], key[:-1], out=begins[1:])
        start = np.flatnonzero(begins)
        cell = np.empty(len(key), dtype=np.intp)
        cell[order] = np.cumsum(begins) - 1
        return cls(key[start], width, cell, order, start)

    def earliest_around(self) -> IntArray:
        """(k,) the earliest node in the cell of each node and the eight around it."""
        first = self.order[self.start]
        earliest = first.copy()
        key, width = np.append(self.key, -1), self.width
        beside = np.arange(1, len(key))
        above = np.searchsorted(self.key, self.key + width - 1)
        # A cell's other four neighbours have it as one of these.
        for at, step in ((beside, 1), (above, width - 1), (above, width), (above, width + 1)):
            there = key[at] == self.key + step
            here, other = np.flatnonzero(there), at[there]
            earliest[here] = np.minimum(earliest[here], first[other])
            earliest[other] = np.minimum(earliest[other], first[here])
            at += there
        return earliest[self.cell]

    def earliest_around_since(self, node: IntArray, since: IntArray) -> IntArray:
        """(j,) the earliest node around some nodes that is not before another; k without any."""
        count = len(self.order)
        earliest = np.full(len(node), count)
        in_order = self.cell[self.order] * count + self.order
        for step in (row + column for row in (-self.width, 0, self.width) for column in (-1, 0, 1)):
            key = self.key[self.cell[node]] + step
            cell = np.minimum(np.searchsorted(self.key, key), len(self.key) - 1)
            at = np.minimum(np.searchsorted(in_order, cell * count + since), count - 1)
            found = self.order[at]
            fits = (self.key[cell] == key) & (self.cell[found] == cell) & (found >= since)
            earliest[fits] = np.minimum(earliest[fits], found[fits])
        return earliest


def _lasting(visit: IntArray, spacing_m: float) -> IntArray:
    """Only those visits that go on for a while, node after node; the rest are themselves."""
    result = np.arange(len(visit))
    going_on = (visit[1:] >= 0) & (visit[:-1] >= 0)
    going_on &= np.abs(np.diff(visit)) <= _STRAY_NODES
    for first, end in runs(going_on):
        if (end - first) * spacing_m >= _SHORTEST_M:
            result[first : end + 1] = visit[first : end + 1]
    return result


def _roots(visit: IntArray) -> IntArray:
    """Visits of visits followed back to the first."""
    while not np.array_equal(visit[visit], visit):
        visit = visit[visit]
    return visit


def again(visit: IntArray) -> BoolArray:
    """(k,) True at nodes that are at a place visited before."""
    return np.asarray(visit != np.arange(len(visit)))


def without(visit: IntArray, nodes: IntArray) -> IntArray:
    """The same visits, less the whole of those that some nodes belong to."""
    result = visit.copy()
    for first, end in runs(again(visit)):
        if np.any((nodes >= first) & (nodes < end)):
            result[first:end] = np.arange(first, end)
    return _roots(result)
