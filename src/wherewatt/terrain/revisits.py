"""The same road ridden again, out and back or in laps: it has one height."""

from __future__ import annotations

import numpy as np
import shapely

from wherewatt.arrays import FloatArray, IntArray, runs
from wherewatt.motion.plane import local_plane
from wherewatt.terrain.nodes import Nodes
from wherewatt.terrain.settings import TerrainSettings

_APART_M = 150.0  # along the ride; nearer places are the same visit
_PARALLEL_RAD = np.radians(25.0)
_SHORTEST_M = 120.0  # shorter meetings are crossings
_STRAY_NODES = 4  # how much faster than the ride the first visit may go along


def first_visits(nodes: Nodes, settings: TerrainSettings) -> IntArray:
    """(k,) the node at which each place was first visited; itself where that is the first time.

    Places are the same if they are near, the ways through them parallel, in one direction or the
    other, and both hold for a while. A ride that ends where it began has closed a loop.
    """
    plane = local_plane(nodes.latitude_deg, nodes.longitude_deg)
    points = shapely.points(plane)
    later, earlier = shapely.STRtree(points).query(
        points, predicate="dwithin", distance=settings.same_place_m
    )
    apart = (later - earlier) * nodes.spacing_m > _APART_M
    later, earlier = later[apart], earlier[apart]
    way = np.gradient(plane, axis=0)
    bearing = np.arctan2(way[:, 0], way[:, 1])
    off = np.abs(np.angle(np.exp(2j * (bearing[later] - bearing[earlier])))) / 2.0
    near = off <= _PARALLEL_RAD
    visit = _nearest_of_first(plane, later[near], earlier[near])
    visit = _roots(_lasting(visit, nodes.spacing_m))
    end = len(nodes) - 1
    if visit[end] == end and np.any((later == end) & (earlier == 0)):
        visit[end] = 0
    return visit


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
