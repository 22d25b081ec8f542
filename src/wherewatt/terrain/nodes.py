"""An even grid along the ride, with what was recorded at each of its nodes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.motion.ride import Ride
from wherewatt.motion.smooth import white_noise_sd
from wherewatt.terrain.settings import TerrainSettings

_FEWEST_NODES = 9
_LEAST_NOISE_M = 0.1  # a height written to whole decimetres is no better


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Places along the ride at even distances; arrays (k,).

    Parameters
    ----------
    distance_m : distance from the start [m].
    time_s : time of passing, the middle of a stand-still [s from the start].
    latitude_deg, longitude_deg : place [degree].
    placed : True where positions were recorded near by, False in a gap, such as a tunnel.
    recorded_m : mean of the heights recorded near by while moving [m], NaN without any.
    count : number of those heights.
    noise_m : white noise of one recorded height [m], as the recording itself shows it.
    left_out : number of recorded heights that no road explains.
    """

    distance_m: FloatArray
    time_s: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    placed: BoolArray
    recorded_m: FloatArray
    count: FloatArray
    noise_m: float
    left_out: int

    def __len__(self) -> int:
        return len(self.distance_m)

    @property
    def spacing_m(self) -> float:
        """Distance between nodes [m]."""
        return float(self.distance_m[1] - self.distance_m[0])

    def nearest(self, distance_m: FloatArray) -> IntArray:
        """Index of the node nearest to each distance from the start [m]."""
        index = np.rint(distance_m / self.spacing_m).astype(np.intp)
        return np.clip(index, 0, len(self) - 1)


def nodes_of(ride: Ride, settings: TerrainSettings) -> Nodes:
    """Lay the grid along a ride; about `settings.grid_m` apart."""
    total = float(ride.distance_m[-1])
    count = max(_FEWEST_NODES, round(total / settings.grid_m) + 1)
    at = np.linspace(0.0, total, count)
    believed = believed_heights(ride.distance_m, ride.recorded_height_m, settings)
    moving = np.concatenate([[True], ~ride.standing]) & believed
    node = np.rint(ride.distance_m[moving] / at[1]).astype(np.intp)
    points = np.bincount(node, minlength=count).astype(np.float64)
    heights = np.bincount(node, weights=ride.recorded_height_m[moving], minlength=count)
    longitude = np.degrees(np.unwrap(np.radians(ride.longitude_deg)))
    east = np.interp(at, ride.distance_m, longitude)
    return Nodes(
        distance_m=at,
        time_s=ride.time_at_distance(at),
        latitude_deg=np.interp(at, ride.distance_m, ride.latitude_deg),
        longitude_deg=(east + 180.0) % 360.0 - 180.0,
        placed=_near_fixes(at, ride.distance_m[ride.fixed], settings.longest_line_m),
        recorded_m=np.divide(heights, points, out=np.full(count, np.nan), where=points > 0),
        count=points,
        noise_m=max(_LEAST_NOISE_M, white_noise_sd(ride.recorded_height_m[moving])),
        left_out=int(np.isfinite(ride.recorded_height_m).sum() - believed.sum()),
    )


def believed_heights(
    distance_m: FloatArray, height_m: FloatArray, settings: TerrainSettings
) -> BoolArray:
    """True at recorded heights that one road could join; False at missing ones.

    Devices write nonsense before they know their height, and now and then in between. Runs of
    heights are parted by steps that no road explains; from the longest run outward, those are
    believed that can be reached from the last one believed.
    """
    known = np.flatnonzero(np.isfinite(height_m))
    believed = np.zeros(len(height_m), dtype=bool)
    if len(known) < 2:
        return believed
    way, height = distance_m[known], height_m[known]

    def joined(one: int, other: int) -> bool:
        reach = settings.steepest * abs(way[one] - way[other]) + settings.height_step_m
        return bool(abs(height[one] - height[other]) <= reach)

    steps = np.abs(np.diff(height)) > settings.steepest * np.diff(way) + settings.height_step_m
    edges = np.concatenate([[0], np.flatnonzero(steps) + 1, [len(known)]])
    spans = list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))
    longest = max(range(len(spans)), key=lambda number: spans[number][1] - spans[number][0])
    first, end = spans[longest]
    believed[known[first:end]] = True
    last = end - 1
    for start, stop in spans[longest + 1 :]:
        if joined(last, start):
            believed[known[start:stop]], last = True, stop - 1
    for start, stop in reversed(spans[:longest]):
        if joined(first, stop - 1):
            believed[known[start:stop]], first = True, start
    return believed


def _near_fixes(at: FloatArray, fixed_m: FloatArray, longest_m: float) -> BoolArray:
    """True where the recorded positions before and after are not too far apart."""
    after = np.clip(np.searchsorted(fixed_m, at), 1, len(fixed_m) - 1)
    near = fixed_m[after] - fixed_m[after - 1] <= longest_m
    reached = np.minimum(np.abs(fixed_m[after] - at), np.abs(fixed_m[after - 1] - at)) <= longest_m
    return near & reached
