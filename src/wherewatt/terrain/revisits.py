"""The same road ridden again, out and back or in laps: it has one height."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray, runs
from wherewatt.motion.plane import local_plane
from wherewatt.terrain.nodes import Nodes
from wherewatt.terrain.settings import TerrainSettings

_APART_M = 150.0  # along the ride; nearer places are the same visit
_PARALLEL_RAD = np.radians(25.0)
_SHORTEST_M = 120.0  # shorter meetings are crossings
_STRAY_NODES = 4  # how much faster than the ride the first visit may go along
_BLOCK_NODES = 4000  # looked at together; among more, laps would make too many pairs


def first_visits(nodes: Nodes, settings: TerrainSettings) -> IntArray:
    """(k,) the node at which each place was first visited; itself where that is the first time.

    Places are the same if they are near, the ways through them parallel, in one direction or the
    other, and both hold for a while. A ride that ends where it began has closed a loop.
    """
    plane = local_plane(nodes.latitude_deg, nodes.longitude_deg)
    later, earlier = _meetings(plane, settings.same_place_m, int(_APART_M / nodes.spacing_m))
    end = len(nodes) - 1
    is_back = np.hypot(*(plane[end] - plane[0])) <= settings.same_place_m
    closed = bool(is_back and nodes.distance_m[end] > _APART_M)
    visit = np.arange(len(nodes))
    if len(later):
        visit = _nearest_of_first(plane, later, earlier)
        visit = _roots(_lasting(visit, nodes.spacing_m))
    if visit[end] == end and closed:
        visit[end] = 0
    return visit


def _meetings(plane: FloatArray, near_m: float, least: int) -> tuple[IntArray, IntArray]:
    """Later and earlier nodes of pairs that are near, on ways that are parallel.

    What was met before is known by where it was first met: nodes that met an earlier one are not
    looked at again. So laps take no longer than a course that goes on and on.
    """
    way = np.gradient(plane, axis=0)
    first = np.zeros(0, dtype=np.intp)  # nodes that met none before them
    found = []
    for start in range(0, len(plane), _BLOCK_NODES):
        block = np.arange(start, min(start + _BLOCK_NODES, len(plane)))
        among = np.concatenate([first, block])
        pairs = among[np.stack(_near_pairs(plane[among], near_m))]
        pairs = pairs[:, (pairs[0] >= start) & (pairs[0] - pairs[1] > least)]
        pairs = pairs[:, _parallel(way, *pairs)]
        found.append(pairs)
        first = np.concatenate([first, np.setdiff1d(block, pairs[0])])
    later, earlier = np.concatenate(found, axis=1)
    return later, earlier


def _near_pairs(plane: FloatArray, near_m: float) -> tuple[IntArray, IntArray]:
    """Later and earlier nodes of pairs not far apart.

    Nodes are sorted into square cells as wide as they may be apart. So a node's mates are in its
    own cell and the next, or in the three cells that touch these in the row above; the other four
    neighbours hold those whose mate it is.
    """
    column, row = np.floor((plane - plane.min(axis=0)) / near_m).astype(np.intp).T
    width = int(column.max()) + 3
    cell = row * width + column
    order = np.argsort(cell, kind="stable")
    cell = cell[order]
    place = np.arange(len(cell))
    first = place + 1, np.searchsorted(cell, cell + width - 1)
    behind = np.searchsorted(cell, (cell + 1, cell + width + 1), side="right")
    pairs = []
    for start, stop in zip(first, behind, strict=True):
        count = stop - start
        own = np.repeat(place, count)
        mate = np.arange(len(own)) + np.repeat(start - (np.cumsum(count) - count), count)
        pairs.append(np.stack([order[own], order[mate]]))
    both = np.concatenate(pairs, axis=1)
    east, north = (plane[both[0]] - plane[both[1]]).T
    both = both[:, east**2 + north**2 <= near_m**2]
    return both.max(axis=0), both.min(axis=0)


def _parallel(way: FloatArray, later: IntArray, earlier: IntArray) -> BoolArray:
    """True where two ways (k, 2) run in one direction or in opposite ones, or nearly so."""
    (east, north), (other_east, other_north) = way[later].T, way[earlier].T
    across = east * other_north - north * other_east
    along = east * other_east + north * other_north
    return np.asarray(np.abs(across) <= np.tan(_PARALLEL_RAD) * np.abs(along))


def _nearest_of_first(plane: FloatArray, later: IntArray, earlier: IntArray) -> IntArray:
    """(k,) nearest node of the earliest visit, −1 without any."""
    first = np.full(len(plane), len(plane), dtype=np.intp)
    np.minimum.at(first, later, earlier)
    same_visit = earlier - first[later] <= 2 * _STRAY_NODES
    later, earlier = later[same_visit], earlier[same_visit]
    distance = np.hypot(*(plane[later] - plane[earlier]).T)
    visit = np.full(len(plane), -1, dtype=np.intp)
    far_to_near = np.argsort(-distance, kind="stable")
    visit[later[far_to_near]] = earlier[far_to_near]  # the nearest is written last
    return visit


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


def without(visit: IntArray, nodes: IntArray) -> IntArray:
    """The same visits, less the whole of those that some nodes belong to."""
    own = np.arange(len(visit))
    again = visit != own
    result = visit.copy()
    for first, end in runs(again):
        if np.any((nodes >= first) & (nodes < end)):
            result[first:end] = own[first:end]
    return _roots(result)
