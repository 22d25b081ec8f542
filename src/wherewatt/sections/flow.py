"""Stop-and-go or steady: stops per moving kilometre."""

from __future__ import annotations

import itertools
from enum import StrEnum

import numpy as np

from wherewatt.arrays import FloatArray, IntArray, runs
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
    stops = np.zeros(cells)
    total_m = ride.distance_m[-1]
    events = [
        (stop.distance_m, 1.0)
        for stop in ride.stops
        if stop.end_s - stop.start_s <= settings.longest_traffic_stop_s
    ]
    for where_m, weight in [*events, *_slow_downs(ride, settings)]:
        if settings.approach_m < where_m < total_m - settings.approach_m:
            stops[min(cells - 1, int(where_m / spacing_m))] += weight
    rates = np.array([settings.steady_stops_per_km, settings.stops_per_km]) / 1000.0
    cost = rates * spacing_m - stops[:, None] * np.log(rates * spacing_m)
    cost[[0, -1], 1] += settings.flow_change  # before and after the ride nothing stops and goes
    shortest = max(1, round(settings.shortest_flow_m / spacing_m))
    labels = best_labels(cost, change=settings.flow_change, shortest=shortest)
    labels = _without_single_stops(labels, stops)
    return _with_approach(labels, max(1, round(settings.approach_m / spacing_m)))


def _slow_downs(ride: Ride, settings: SectionSettings) -> list[tuple[float, float]]:
    """Where the brakes took most of the speed, short of a stop, and their share of its energy."""
    speed = ride.speed_m_s
    moving = np.concatenate([[True], ~ride.standing])
    usual = float(np.median(speed[moving]))
    turns = turning_points(speed, 0.5 * usual)
    where = np.array([stop.distance_m for stop in ride.stops])
    events = []
    for high, low in itertools.pairwise(turns.tolist()):
        lost = 1.0 - (speed[low] / max(speed[high], 1e-9)) ** 2
        fast = speed[high:low] >= 0.9 * speed[high]
        onset = high + int(np.max(np.flatnonzero(fast), initial=0))
        braking_s = ride.time_s[low] - ride.time_s[onset]
        braked = speed[onset] - speed[low] >= settings.braking_m_s2 * braking_s
        near_stop = np.any(np.abs(where - ride.distance_m[low]) <= settings.approach_m)
        if lost >= settings.least_braked_share and braked and not near_stop:
            events.append((float(ride.distance_m[low]), float(lost)))
    return events


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
