"""Rides over known heights, and sources of height that err as real ones do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.motion.builders import plain_ride
from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.config import load_config
from wherewatt.motion.ride import Ride
from wherewatt.terrain.blend import blend_heights
from wherewatt.terrain.nodes import nodes_of
from wherewatt.terrain.profile import Profile
from wherewatt.terrain.source import unknown_terrain

TERRAIN = load_config().terrain


def hills(distance_m: FloatArray) -> FloatArray:
    """Rolling ground: grades to about 4 % [m]."""
    return 300.0 + 25.0 * np.sin(distance_m / 900.0) + 4.0 * np.sin(distance_m / 230.0 + 1.0)


def correlated(at: FloatArray, length: float, sd: float, rng: np.random.Generator) -> FloatArray:
    """Errors at increasing places that are alike over a length, with a standard deviation."""
    error = np.empty(len(at))
    error[0] = rng.normal(0.0, sd)
    keep = np.exp(-np.diff(at) / length)
    for step, kept in enumerate(keep):
        error[step + 1] = kept * error[step] + sd * np.sqrt(1.0 - kept**2) * rng.normal()
    return error


def ride_over(heights: FloatArray | None, *, duration_s: float = 1200.0) -> Ride:
    """A ride of 6 m/s without stops whose recording holds the given heights."""
    ride = plain_ride(duration_s=duration_s, stops=())
    return ride if heights is None else replace(ride, recorded_height_m=heights)


def out_and_back(*, half_m: float) -> Ride:
    """A ride of 6 m/s to the east and back again on the same road."""
    ride = plain_ride(duration_s=2.0 * half_m / 6.0, stops=())
    way = np.minimum(ride.distance_m, 2.0 * half_m - ride.distance_m)
    homeward = ride.distance_m[1:] > half_m
    return replace(
        ride,
        longitude_deg=np.degrees(way / 6_378_137.0),
        heading_rad=np.where(homeward, -np.pi / 2.0, np.pi / 2.0),
    )


def blended(ride: Ride, tile_m: FloatArray, tagged: BoolArray | None = None) -> Profile:
    """The blend of a ride with terrain heights given at its points; NaN where unknown."""
    nodes = nodes_of(ride, TERRAIN)
    point = np.clip(np.searchsorted(ride.distance_m, nodes.distance_m), 1, len(tile_m) - 1)
    at_nodes = np.interp(nodes.distance_m, ride.distance_m, np.nan_to_num(tile_m))
    at_nodes[np.isnan(tile_m[point]) | np.isnan(tile_m[point - 1])] = np.nan
    terrain = replace(unknown_terrain(len(nodes)), height_m=at_nodes)
    return blend_heights(nodes, terrain, TERRAIN, None if tagged is None else tagged[point])
