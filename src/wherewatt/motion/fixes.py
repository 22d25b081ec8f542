"""Which recorded positions can be believed: held positions and spikes are not fixes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray, runs
from wherewatt.motion.geodesy import GEOD, leg_lengths
from wherewatt.motion.plane import local_plane
from wherewatt.motion.settings import MotionSettings

# A run of points looks back at most this many runs for one it can follow.
_LOOK_BACK = 64
# How many points a run may give up at an end.
_GIVEN_UP = (0, 1, 2, 4)


def held(
    time_s: FloatArray,
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    speed_m_s: FloatArray,
    settings: MotionSettings,
) -> BoolArray:
    """True where the device repeats an old position while it moves on.

    Some devices log every second but fix only every few. The repeats look like a stop that ends
    in a jump: they are recognised by a jump that no vehicle could make from a stand, or by a
    recorded speed that says otherwise.
    """
    n = len(time_s)
    same = (np.diff(latitude_deg) == 0) & (np.diff(longitude_deg) == 0)
    stale = np.zeros(n, dtype=bool)
    if not same.any():
        return stale
    steps = leg_lengths(latitude_deg, longitude_deg)
    for first, last in runs(same):  # points first … last share a position
        recorded = speed_m_s[first + 1 : last + 1]
        if np.isfinite(recorded).all():
            moving = float(np.mean(recorded)) > 2.0 * settings.stop_speed_m_s
        elif last + 1 < n:
            wait = time_s[last + 1] - time_s[last]
            reach = 0.5 * settings.top_acceleration_m_s2 * wait**2 + settings.position_slack_m
            moving = steps[last] > reach
        else:
            moving = False
        stale[first + 1 : last + 1] = moving
    return stale


def stale_heights(fix: BoolArray, height_m: FloatArray) -> BoolArray:
    """True where a height repeats that of the fix before: it came with the old position.

    A barometer goes on while positions are held, and its heights change.
    """
    again = np.concatenate([[False], np.diff(height_m) == 0.0]) & ~fix
    stale = np.zeros(len(fix), dtype=bool)
    for first, last in runs(again[1:]):  # of repeats: from the point before the first
        stale[first + 1 : last + 1] = fix[first]
    return stale


@dataclass(frozen=True, slots=True, eq=False)
class CountedWay:
    """How far a recorded speed says it went; arrays (n,).

    Parameters
    ----------
    way_m : since the first point [m].
    dash_m : how much more it can have been: between two points there is time to speed up and
        brake again [m].
    """

    way_m: FloatArray
    dash_m: FloatArray

    @classmethod
    def of(cls, time_s: FloatArray, speed_m_s: FloatArray, settings: MotionSettings) -> CountedWay:
        """From the speed (n,) at all points, with a position or without [m/s]."""
        step = np.diff(time_s)
        legs = (
            step * (speed_m_s[1:] + speed_m_s[:-1]) / 2.0,
            (0.5 * settings.acceleration_sd_m_s2 * np.square(step)),
        )
        return cls(*(np.concatenate([[0.0], np.cumsum(leg)]) for leg in legs))

    def at(self, points: IntArray) -> CountedWay:
        """At some of the points."""
        return CountedWay(self.way_m[points], self.dash_m[points])


def spikes(
    time_s: FloatArray,
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    counted: CountedWay | None,
    settings: MotionSettings,
) -> BoolArray:
    """True where a position cannot belong to the same ride as its neighbours.

    Two tests. Lone spikes: a single point that stands off the line between its neighbours by
    more than an acceleration can explain. Excursions: the longest chain of runs of points in
    which no step is faster than the vehicle could be; what is off the chain is wrong.
    """
    wrong = np.zeros(len(time_s), dtype=bool)
    reach = _reach(time_s, latitude_deg, longitude_deg, counted, settings)
    for test in (_lone_outliers, _off_chain):
        kept = np.flatnonzero(~wrong)
        found = test(time_s[kept], latitude_deg[kept], longitude_deg[kept], reach[kept], settings)
        wrong[kept[found]] = True
    return wrong


def _reach(
    time_s: FloatArray,
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    counted: CountedWay | None,
    settings: MotionSettings,
) -> FloatArray:
    """(n,) farthest distance that could have been ridden since the first point [m].

    By the recorded speed, with a margin, if that agrees with the positions by and large;
    otherwise at a speed that this ride hardly reached.
    """
    step = np.diff(time_s)
    top = _top_speed(time_s, latitude_deg, longitude_deg, settings.top_speed_m_s)
    if counted is not None:
        way = np.diff(counted.way_m)
        riding = way > 2.0
        if riding.any():
            steps = leg_lengths(latitude_deg, longitude_deg)
            if 0.7 < float(np.median(steps[riding] / way[riding])) < 1.4:
                unseen = np.clip(np.diff(counted.dash_m), 1.0 * step, top * step)
                return np.concatenate([[0.0], np.cumsum(1.5 * way + unseen)])
    return top * (time_s - time_s[0])


def _top_speed(
    time_s: FloatArray, latitude_deg: FloatArray, longitude_deg: FloatArray, most_m_s: float
) -> float:
    """Speed [m/s] that this ride hardly reached: twice that of a fast stretch of it.

    Measured over some seconds, so that single spikes do not count.
    """
    step = max(1, round(5.0 / max(float(np.median(np.diff(time_s))), 0.1)))
    metres = leg_lengths(latitude_deg[::step], longitude_deg[::step])
    if len(metres) < 8:
        return most_m_s
    fast = float(np.percentile(metres / np.diff(time_s[::step]), 90))
    return float(np.clip(2.0 * fast, 8.0, most_m_s))


def _off_chain(
    time_s: FloatArray,
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    reach_m: FloatArray,
    settings: MotionSettings,
) -> BoolArray:
    """Points off the longest chain of runs that a vehicle could have ridden through.

    A run may give up a few points at its ends: a spike can lie within reach of one side.
    """
    slack = settings.position_slack_m
    broken = leg_lengths(latitude_deg, longitude_deg) > np.diff(reach_m) + slack
    off = np.zeros(len(time_s), dtype=bool)
    if not broken.any():
        return off
    first = np.concatenate([[0], np.flatnonzero(broken) + 1])
    last = np.concatenate([first[1:] - 1, [len(time_s) - 1]])
    best = (last - first + 1).astype(float)
    link: dict[int, tuple[int, int, int]] = {}  # run -> run before, its last point, own first point
    for run in range(1, len(first)):
        back = np.arange(max(0, run - _LOOK_BACK), run)
        exits, exit_run = _ends(last[back], best[back], back, -1)
        entries, _ = _ends(first[run : run + 1], best[run : run + 1], back[:1], 1)
        leave, enter = (grid.ravel() for grid in np.meshgrid(exits, entries, indexing="ij"))
        owner = np.repeat(exit_run, len(entries))
        metres = np.asarray(
            GEOD.inv(
                longitude_deg[leave], latitude_deg[leave], longitude_deg[enter], latitude_deg[enter]
            )[2]
        )
        fits = metres <= reach_m[enter] - reach_m[leave] + slack
        gain = best[owner] - (last[owner] - leave) - (enter - first[run])
        gain[~fits] = -np.inf
        choice = int(np.argmax(gain))
        if gain[choice] > 0:
            best[run] += gain[choice]
            link[run] = (int(owner[choice]), int(leave[choice]), int(enter[choice]))
    off[:] = True
    run = int(np.argmax(best))
    end = int(last[run])
    while run in link:
        before, leave_at, enter_at = link[run]
        off[enter_at : end + 1] = False
        run, end = before, leave_at
    off[first[run] : end + 1] = False
    return off


def _ends(end: IntArray, size: FloatArray, run: IntArray, step: int) -> tuple[IntArray, IntArray]:
    """Points at which runs may be left (step −1) or entered (+1), and the run of each."""
    given_up = np.array(_GIVEN_UP)
    points = end[:, None] + step * given_up
    allowed = (given_up == 0) | (2 * given_up < size[:, None])
    return points[allowed], np.broadcast_to(run[:, None], points.shape)[allowed]


def _lone_outliers(
    time_s: FloatArray,
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
    reach_m: FloatArray,
    settings: MotionSettings,
) -> BoolArray:
    lone = np.zeros(len(time_s), dtype=bool)
    if len(time_s) < 4:
        return lone
    before, after = np.diff(time_s)[:-1], np.diff(time_s)[1:]
    share = before / (before + after)
    plane = local_plane(latitude_deg, longitude_deg)
    between = plane[:-2] + share[:, None] * (plane[2:] - plane[:-2])
    off = np.hypot(*(plane[1:-1] - between).T)
    explained = np.minimum(
        0.5 * settings.top_acceleration_m_s2 * before * after,
        np.minimum(np.diff(reach_m)[:-1], np.diff(reach_m)[1:]),
    )
    padded = np.concatenate([[0.0], off, [0.0]])
    peak = (off >= padded[:-2]) & (off >= padded[2:])  # a spike raises its neighbours by half
    lone[1:-1] = peak & (off > explained + settings.position_slack_m)
    return lone
