"""An even grid along the ride, with what was recorded at each of its nodes."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.motion.plane import short_way, without_jumps
from wherewatt.motion.ride import Ride
from wherewatt.motion.smooth import white_noise_sd
from wherewatt.terrain.settings import TerrainSettings

_FEWEST_NODES = 9
_CHAINS = 4  # of heights that take turns are looked at: the latest, the longest
_NEVER_LEVEL_M = 3000.0  # of exactly one height; common practice, no source
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
    new_datum : (k−1,) True from a node to the next where the device set its height anew.
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
    new_datum: BoolArray

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
    believed, datums = believed_heights(ride.distance_m, ride.recorded_height_m, settings)
    moving = np.flatnonzero(np.concatenate([[True], ~ride.standing]) & believed)
    height = ride.recorded_height_m[moving]
    node = np.rint(ride.distance_m[moving] / at[1]).astype(np.intp)
    points = np.bincount(node, minlength=count).astype(np.float64)
    at_datum = np.rint(datums / at[1]).astype(np.intp)
    points[at_datum] = 0.0  # heights of both datums meet here
    heights = np.bincount(node, weights=height, minlength=count)
    set_anew = np.zeros(count - 1, dtype=bool)
    set_anew[at_datum[at_datum < count - 1]] = True
    return Nodes(
        distance_m=at,
        time_s=ride.time_at_distance(at),
        latitude_deg=np.interp(at, ride.distance_m, ride.latitude_deg),
        longitude_deg=_longitude_at(at, ride),
        placed=_near_fixes(at, ride.distance_m[ride.fixed], settings.longest_line_m),
        recorded_m=np.divide(heights, points, out=np.full(count, np.nan), where=points > 0),
        count=points,
        noise_m=max(_LEAST_NOISE_M, white_noise_sd(height)),
        left_out=int(np.count_nonzero(np.isfinite(ride.recorded_height_m) & ~believed)),
        new_datum=set_anew,
    )


def _longitude_at(at: FloatArray, ride: Ride) -> FloatArray:
    """(k,) longitude at distances from the start, within ±180° [degree]."""
    return short_way(np.interp(at, ride.distance_m, without_jumps(ride.longitude_deg)))


def believed_heights(
    distance_m: FloatArray, height_m: FloatArray, settings: TerrainSettings
) -> tuple[BoolArray, FloatArray]:
    """Recorded heights that a road can have, and where the device set its height anew.

    A device that writes one height for kilometres knows none. Others write nonsense before they
    know their height, and correct themselves on the way. Runs of heights are parted by steps that
    no road explains. A long run is believed, on a datum of its own where it does not join the last
    one believed; a short one only if it joins.

    Returns
    -------
    (n,) True at believed heights, False at others and missing ones; (j,) distances from the start
    at which a new datum begins [m].
    """
    finite = np.isfinite(height_m)
    known = np.flatnonzero(finite)
    believed = np.zeros(len(height_m), dtype=bool)
    if len(known) < 2:
        return believed, np.zeros(0)
    way, height = distance_m[known], height_m[known]
    if way[-1] - way[0] > _NEVER_LEVEL_M and (height == height[0]).all():
        return believed, np.zeros(0)
    if not len(_steps(way, height, settings)):
        return finite, np.zeros(0)
    sound = _without_odd_ones(way, height, settings)
    known, way, height = known[sound], way[sound], height[sound]
    edges = [0, *_steps(way, height, settings).tolist(), len(known)]
    datums: list[float] = []
    last: int | None = None
    for start, stop in pairwise(edges):
        joins = last is not None and not _parted(way, height, last, start, settings)
        long = way[stop - 1] - way[start] >= settings.own_datum_m
        if joins or long:
            believed[known[start:stop]] = True
            if last is not None and not joins:
                datums.append(float(way[start] + way[last]) / 2.0)
            last = stop - 1
    return believed, np.array(datums)


def _steps(way_m: FloatArray, height_m: FloatArray, settings: TerrainSettings) -> IntArray:
    """Indices at which heights begin that no road leads to from the ones before."""
    ahead, behind = slice(1, None), slice(None, -1)
    return np.flatnonzero(_parted(way_m, height_m, behind, ahead, settings)) + 1


def _parted(
    way_m: FloatArray,
    height_m: FloatArray,
    before: int | slice,
    here: int | slice,
    settings: TerrainSettings,
) -> BoolArray:
    """True where no road leads from heights before to those here."""
    rise_m = np.abs(height_m[here] - height_m[before])
    way_on_m = way_m[here] - way_m[before]
    return np.asarray(rise_m > settings.height_step_m + settings.steepest * way_on_m)


def _without_odd_ones(
    way_m: FloatArray, height_m: FloatArray, settings: TerrainSettings
) -> IntArray:
    """Indices of heights without odd ones among them, such as zeros now and then.

    Runs that a road leads on to from each other are a chain. Where chains take turns, that of most
    heights is the road, and one that is a single height, over and over, is none.
    """
    edges = np.concatenate([[0], _steps(way_m, height_m, settings), [len(height_m)]])
    first, last = edges[:-1], edges[1:] - 1
    chains: list[list[int]] = []
    for run in range(len(first)):
        for chain in chains[: -_CHAINS - 1 : -1]:
            if not _parted(way_m, height_m, last[chain[-1]], first[run], settings):
                chain.append(run)
                break
        else:
            chains.append([run])
    count = np.diff(edges)
    heights = [int(count[chain].sum()) for chain in chains]
    roads = sorted(zip(heights, chains, strict=True), reverse=True)[:_CHAINS]
    kept = np.ones(len(first), dtype=bool)
    for chain, own in zip(chains, heights, strict=True):
        if len(set(height_m[first[chain]].tolist() + height_m[last[chain]].tolist())) == 1:
            kept[chain] = not any(
                more > own and road[0] < chain[-1] and road[-1] > chain[0] for more, road in roads
            )
    return np.flatnonzero(np.repeat(kept, count))


def _near_fixes(at: FloatArray, fixed_m: FloatArray, longest_m: float) -> BoolArray:
    """True where the recorded positions before and after are not too far apart."""
    near = (at >= fixed_m[0] - longest_m) & (at <= fixed_m[-1] + longest_m)
    gap = np.flatnonzero(fixed_m[1:] - fixed_m[:-1] > longest_m)
    end = np.concatenate([[-np.inf], fixed_m[1:-1], [np.inf]])
    first, stop = np.searchsorted(at, (end[gap], end[gap + 1]), side="right").tolist()
    for inside in map(slice, first, stop):
        near[inside] = False
    return near
