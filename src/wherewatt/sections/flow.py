"""Stop-and-go or steady: stops per moving kilometre."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from wherewatt.arrays import FloatArray, IntArray, runs
from wherewatt.motion.ride import Ride
from wherewatt.sections.partition import best_labels
from wherewatt.sections.settings import SectionSettings


class FlowClass(StrEnum):
    """Flow of a section."""

    STEADY = "steady"
    STOP_AND_GO = "stop-and-go"


CLASSES = (FlowClass.STEADY, FlowClass.STOP_AND_GO)


def flow_labels(ride: Ride, cells: int, spacing_m: float, settings: SectionSettings) -> IntArray:
    """Index into `CLASSES` of each cell of an even grid along the ride.

    Stops are taken as random events at one of two rates per kilometre; the labels are the most
    likely ones, with a price per change. Stops at the very start and end, and long breaks, say
    nothing about traffic.
    """
    stops = np.zeros(cells)
    total_m = ride.distance_m[-1]
    for stop in ride.stops:
        in_traffic = settings.approach_m < stop.distance_m < total_m - settings.approach_m
        if in_traffic and stop.end_s - stop.start_s <= settings.longest_traffic_stop_s:
            stops[min(cells - 1, int(stop.distance_m / spacing_m))] += 1.0
    rates = np.array([settings.steady_stops_per_km, settings.stops_per_km]) / 1000.0
    cost = rates * spacing_m - stops[:, None] * np.log(rates * spacing_m)
    cost[[0, -1], 1] += settings.flow_change  # before and after the ride nothing stops and goes
    shortest = max(1, round(settings.shortest_flow_m / spacing_m))
    labels = best_labels(cost, change=settings.flow_change, shortest=shortest)
    labels = _without_single_stops(labels, stops)
    return _with_approach(labels, max(1, round(settings.approach_m / spacing_m)))


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
