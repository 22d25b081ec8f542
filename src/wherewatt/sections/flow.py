"""Stop-and-go or steady: stops per moving kilometre."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from wherewatt.arrays import FloatArray, IntArray, median, runs
from wherewatt.motion.ride import Ride
from wherewatt.sections.partition import best_labels
from wherewatt.sections.settings import SectionSettings
from wherewatt.terrain.ascent import turning_points


class FlowClass(StrEnum):
    """Flow of a section."""

    STEADY = "steady"
    STOP_AND_GO = "stop-and-go"


CLASSES = (FlowClass.STEADY, FlowClass.STOP_AND_GO)


def flow_labels(ride: Ride, cells: int, spacing_m: float, settings: SectionSettings) -> IntArray:
    """Index into `CLASSES` of each cell of an even grid along the ride.

    Stops are taken as random events at one of two rates per kilometre; the labels are the most
    likely ones, with a price per change. Braking hard without coming to rest, as in a queue that
    creeps, counts as the part of a stop that its share of the kinetic energy is. Stops at the very
    start and end, and long breaks, say nothing about traffic.
    """
    where_m, weight = _stops(ride, settings)
    total_m = ride.distance_m[-1]
    told = (where_m > settings.approach_m) & (where_m < total_m - settings.approach_m)
    cell = np.minimum(where_m[told] / spacing_m, cells - 1).astype(np.intp)
    stops = np.bincount(cell, weights=weight[told], minlength=cells).astype(np.float64)
    rates = np.array([[settings.steady_stops_per_km], [settings.stops_per_km]]) / 1000.0
    cost = rates * spacing_m - stops * np.log(rates * spacing_m)
    cost[1, [0, -1]] += settings.flow_change  # before and after the ride nothing stops and goes
    shortest = max(1, round(settings.shortest_flow_m / spacing_m))
    labels = best_labels(cost.T, change=settings.flow_change, shortest=shortest)
    labels = _without_single_stops(labels, stops)
    return _with_approach(labels, max(1, round(settings.approach_m / spacing_m)))


def _stops(ride: Ride, settings: SectionSettings) -> tuple[FloatArray, FloatArray]:
    """Where it stopped or nearly did [m], and how much of a stop each was."""
    where_m = np.array([stop.distance_m for stop in ride.stops])
    lasted_s = np.array([stop.end_s - stop.start_s for stop in ride.stops])
    traffic = where_m[lasted_s <= settings.longest_traffic_stop_s]
    slow_m, share = _slow_downs(ride, where_m, settings)
    return np.append(traffic, slow_m), np.append(np.ones(len(traffic)), share)


def _slow_downs(
    ride: Ride, stops_m: FloatArray, settings: SectionSettings
) -> tuple[FloatArray, FloatArray]:
    """Where the brakes took most of the speed, short of a stop [m], and their share of its energy.

    Parameters
    ----------
    stops_m : (s,) where it stopped, rising [m].
    """
    speed, way_m = ride.speed_m_s, ride.distance_m
    usual = median(speed[np.append(True, ~ride.standing)])
    turns = turning_points(speed, 0.5 * usual)
    lost = 1.0 - np.square(speed[turns[1:]] / np.maximum(speed[turns[:-1]], 1e-9))
    low_m = way_m[turns[1:]]
    before = np.searchsorted(stops_m, low_m - settings.approach_m, side="left")
    alone = before == np.searchsorted(stops_m, low_m + settings.approach_m, side="right")
    much = np.flatnonzero(alone & (lost >= settings.least_braked_share))
    braked = [at for at in much.tolist() if _braked(ride, turns[at], turns[at + 1], settings)]
    return low_m[braked], lost[braked]


def _braked(ride: Ride, high: int, low: int, settings: SectionSettings) -> bool:
    """Whether speed was lost by braking, between two points, and not by climbing or coasting."""
    speed = ride.speed_m_s[high : low + 1]
    onset = int(np.flatnonzero(speed[:-1] >= 0.9 * speed[0])[-1])  # the last near the highest
    braking_s = ride.time_s[low] - ride.time_s[high + onset]
    return bool(speed[onset] - speed[-1] >= settings.braking_m_s2 * braking_s)


def _without_single_stops(labels: IntArray, stops: FloatArray) -> IntArray:
    """One stop is a stop, not traffic."""
    result = labels.copy()
    for first, end in runs(labels > 0):
        if stops[first:end].sum() < 2:
            result[first:end] = 0
    return result


def _with_approach(labels: IntArray, cells: int) -> IntArray:
    """Stop-and-go widened at both ends by the way it takes to brake and to speed up."""
    wide = np.convolve(labels, np.ones(2 * cells + 1, dtype=np.intp), mode="same")[: len(labels)]
    return (wide > 0).astype(np.intp)
