"""Rides with heights, cut into sections."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.motion.builders import MOTION, make_track, on_the_ground, plain_ride
from tests.terrain.builders import blended
from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride
from wherewatt.sections.cutting import Sections, cut_sections
from wherewatt.sections.surface import TimedTag

CONFIG = load_config()


def ramp(distance_m: FloatArray, start_m: float, length_m: float, grade: float) -> FloatArray:
    """Level, one slope, level [m]."""
    return grade * np.clip(distance_m - start_m, 0.0, length_m)


def line(
    east_m: Sequence[float], north_m: Sequence[float], surface: str = "gravel", structure: str = ""
) -> TaggedLine:
    """A tagged line over the plane of `make_track`."""
    latitude, longitude = on_the_ground(np.array(east_m, float), np.array(north_m, float))
    return TaggedLine("", surface, structure, longitude, latitude)


def ride_along(east_m: FloatArray, north_m: FloatArray | None = None) -> Ride:
    """A ride at 1 Hz over the plane."""
    time = np.arange(float(len(east_m)))
    return trace_ride(make_track(time, east_m, north_m), MOTION)


def cut(
    ride: Ride | None = None,
    *,
    height_m: FloatArray | None = None,
    tags: Sequence[TimedTag] = (),
    places: Sequence[TaggedLine] = (),
) -> Sections:
    """Sections of a ride, level if no heights are given."""
    ride = plain_ride(stops=()) if ride is None else ride
    heights = np.zeros(len(ride.time_s)) if height_m is None else height_m
    ride = replace(ride, recorded_height_m=heights)
    profile = blended(ride, heights)
    return cut_sections(
        ride,
        profile,
        tags=tags,
        places=places,
        settings=CONFIG.sections,
        place_settings=CONFIG.places,
    )


def metres_of(sections: Sections, labels: Sequence[str]) -> dict[str, float]:
    """Length under each label [m]."""
    length = np.diff(sections.edge_m)
    return {
        label: float(sum(m for m, name in zip(length, labels, strict=True) if name == label))
        for label in set(labels)
    }
