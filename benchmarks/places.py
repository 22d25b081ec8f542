"""How fast a ride is matched with a library of tagged lines: the ratio to trying all pairs.

    python -m benchmarks.places [--lines 10000] [--points 10000] [--repeat 3]

The ride winds through a made-up town of short streets, all of them tagged; some of the lines lie in
other towns far away. Trying all pairs is shapely's vectorised distance between every point of the
ride and every line, in a plane, a block of points at a time; the nearest line within reach is
taken. It knows neither direction nor hysteresis, so it does less. CPU times on one thread; they
hold for this machine and moment only, the ratio carries over.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable, Sequence

import numpy as np
import shapely
from tests.motion.builders import MOTION, make_track, on_the_ground

from wherewatt.config import load_config
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride
from wherewatt.sections.places import match_places

BLOCK_M = 120.0
CORNERS = 8
_METRES_PER_DEGREE = 111_195.0


def winding_ride(points: int, rng: np.random.Generator) -> Ride:
    """A ride at 1 Hz through the middle of the town."""
    turn = np.convolve(rng.normal(0.0, 0.05, points + 60), np.ones(60) / 7.7, "valid")[:points]
    heading = np.cumsum(turn * 0.3)
    east, north = np.cumsum(6.0 * np.sin(heading)), np.cumsum(6.0 * np.cos(heading))
    return trace_ride(make_track(np.arange(float(points)), east, north), MOTION)


def library(ride: Ride, lines: int, rng: np.random.Generator) -> list[TaggedLine]:
    """Half of the lines along the ride's own streets and beside them, half anywhere in the land."""
    result = []
    for number in range(lines):
        if number % 2:
            start = int(rng.integers(0, len(ride.time_s) - 60))
            at = start + np.linspace(0, 59, CORNERS).astype(int)
            aside = rng.choice([0.0, 15.0, 60.0, BLOCK_M, 500.0]) / _METRES_PER_DEGREE
            longitude, latitude = ride.longitude_deg[at] + aside, ride.latitude_deg[at] + aside
        else:
            way = rng.normal(0.0, BLOCK_M / CORNERS, (2, CORNERS)).cumsum(axis=1)
            away = rng.uniform(-60_000.0, 60_000.0, (2, 1))
            latitude, longitude = on_the_ground(*(way + away))
        result.append(TaggedLine("", "gravel", "", longitude, latitude))
    return result


def all_pairs(ride: Ride, places: Sequence[TaggedLine], reach_m: float) -> np.ndarray:
    """Nearest line within reach of each point, −1 for none, by the distance of every pair."""
    origin = ride.longitude_deg[0], ride.latitude_deg[0]
    squeeze = _METRES_PER_DEGREE * np.array([np.cos(np.radians(origin[1])), 1.0])

    def plane(longitude: np.ndarray, latitude: np.ndarray) -> np.ndarray:
        return (np.column_stack([longitude, latitude]) - origin) * squeeze

    lines = np.array(
        [shapely.LineString(plane(place.longitude_deg, place.latitude_deg)) for place in places]
    )
    shapely.prepare(lines)
    points = shapely.points(plane(ride.longitude_deg, ride.latitude_deg))
    nearest = np.full(len(points), -1)
    for first in range(0, len(points), 200):
        block = slice(first, first + 200)
        distance = shapely.distance(points[block, None], lines[None, :])
        best = np.argmin(distance, axis=1)
        within = distance[np.arange(len(best)), best] <= reach_m
        nearest[block] = np.where(within, best, -1)
    return nearest


def cpu_s(work: Callable[[], object], repeat: int) -> float:
    """Median CPU seconds of some runs."""
    times = []
    for _ in range(repeat):
        before = time.process_time()
        work()
        times.append(time.process_time() - before)
    return statistics.median(times)


def main() -> int:
    """Print the ratio; exit code 1 if it is a tenth or more."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lines", type=int, default=10_000)
    parser.add_argument("--points", type=int, default=10_000)
    parser.add_argument("--repeat", type=int, default=3, help="runs of ours; all pairs run once")
    options = parser.parse_args()
    rng = np.random.default_rng(1)
    ride = winding_ride(options.points, rng)
    places = library(ride, options.lines, rng)
    settings = load_config().places
    match_places(ride, places, settings)  # warm
    ours = cpu_s(lambda: match_places(ride, places, settings), options.repeat)
    found: list[np.ndarray] = []
    brute = cpu_s(lambda: found.append(all_pairs(ride, places, settings.reach_m)), 1)
    matched = match_places(ride, places, settings)
    vertices = sum(len(place.longitude_deg) for place in places)
    print(f"{options.points} points, {options.lines} lines of {vertices} positions")
    print(f"near a line: {np.mean(found[0] >= 0):.2f} of the points by all pairs,", end=" ")
    print(f"{np.mean(matched >= 0):.2f} of the legs by ours")
    print(f"all pairs {brute:.2f} s, ours {ours:.3f} s, ratio {ours / brute:.4f}")
    return int(ours / brute >= 0.1)


if __name__ == "__main__":
    sys.exit(main())
