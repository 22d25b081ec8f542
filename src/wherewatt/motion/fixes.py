"""Which recorded positions can be believed: held positions and spikes are not fixes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray, median, runs
from wherewatt.motion.geodesy import GEOD, Legs, leg_lengths, root_of_squares
from wherewatt.motion.settings import MotionSettings

# A run of points looks back at most this many runs for one it can follow.
_LOOK_BACK = 64
# How many points a run may give up at an end.
_GIVEN_UP = (0, 1, 2, 4)
# So many steps tell how long they usually are.
_ENOUGH = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Positions:
    """Points with a position, and the straight lines between them.

    Parameters
    ----------
    time_s, latitude_deg, longitude_deg : (n,) the points.
    legs : the lines.
    step_m : (n−1,) their lengths [m].
    """

    time_s: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    legs: Legs
    step_m: FloatArray

    @classmethod
    def of(
        cls, time_s: FloatArray, latitude_deg: FloatArray, longitude_deg: FloatArray
    ) -> Positions:
        """Measure the lines between points."""
        legs = Legs.between(latitude_deg, longitude_deg)
        return cls(time_s, latitude_deg, longitude_deg, legs, legs.length_m)

    def at(self, points: IntArray) -> Positions:
        """Some of the points; lines are measured anew where any are left out."""
        place = self.time_s[points], self.latitude_deg[points], self.longitude_deg[points]
        apart = np.flatnonzero(np.diff(points) > 1)
        if 4 * len(apart) > len(points):
            return Positions.of(*place)
        ends = np.stack([apart, apart + 1], axis=1).ravel()
        new = Legs.between(place[1][ends], place[2][ends])
        columns = []
        for old, measured in zip(self.legs.columns, new.columns, strict=True):
            columns.append(old[points[:-1]])
            columns[-1][apart] = measured[::2]
        legs = Legs(*columns)
        return Positions(*place, legs, legs.length_m)

    def __len__(self) -> int:
        return len(self.time_s)


def held(fixes: Positions, speed_m_s: FloatArray, settings: MotionSettings) -> BoolArray:
    """True where the device repeats an old position while it moves on.

    Some devices log every second but fix only every few. The repeats look like a stop that ends
    in a jump: they are recognised by a jump that no vehicle could make from a stand, or by a
    recorded speed that says otherwise.

    Parameters
    ----------
    speed_m_s : (n,) recorded speed, NaN where there is none [m/s].
    """
    stale = np.zeros(len(fixes), dtype=bool)
    for first, last in runs(fixes.step_m == 0.0):  # points first … last share a position
        recorded = speed_m_s[first + 1 : last + 1]
        if np.isfinite(recorded).all():
            moving = float(np.mean(recorded)) > 2.0 * settings.stop_speed_m_s
        elif last + 1 < len(fixes):
            wait = fixes.time_s[last + 1] - fixes.time_s[last]
            reach = 0.5 * settings.top_acceleration_m_s2 * wait**2 + settings.position_slack_m
            moving = fixes.step_m[last] > reach
        else:
            moving = False
        stale[first + 1 : last + 1] = moving
    return stale


def stale_heights(fix: BoolArray, height_m: FloatArray) -> BoolArray:
    """True where a height repeats that of the fix before: it came with the old position.

    A barometer goes on while positions are held, and its heights change.
    """
    stale = np.zeros(len(fix), dtype=bool)
    if fix.all():
        return stale
    again = (np.diff(height_m) == 0.0) & ~fix[1:]
    for first, last in runs(again):  # of repeats: from the point before the first
        stale[first + 1 : last + 1] = fix[first]
    return stale


@dataclass(frozen=True, slots=True, eq=False)
class CountedWay:
    """How far a recorded speed says it went between points; arrays (n−1,).

    Parameters
    ----------
    way_m : the way [m].
    dash_m : how much more it can have been: between two points there is time to speed up and
        brake again [m].
    """

    way_m: FloatArray
    dash_m: FloatArray

    @classmethod
    def of(cls, time_s: FloatArray, speed_m_s: FloatArray, settings: MotionSettings) -> CountedWay:
        """From the speed (n,) at all points, with a position or without [m/s]."""
        step = np.diff(time_s)
        way = speed_m_s[1:] + speed_m_s[:-1]
        way *= step
        way *= 0.5
        step *= step
        step *= 0.5 * settings.acceleration_sd_m_s2
        return cls(way, step)

    def between(self, points: IntArray) -> CountedWay:
        """Between some of the points."""
        return CountedWay(sums_between(self.way_m, points), sums_between(self.dash_m, points))


def sums_between(legs: FloatArray, points: IntArray) -> FloatArray:
    """Sums of what (n−1,) legs have from each of some points to the next."""
    return np.diff(np.concatenate([[0.0], np.cumsum(legs)])[points])


def spikes(fixes: Positions, counted: CountedWay | None, settings: MotionSettings) -> BoolArray:
    """True where a position cannot belong to the same ride as its neighbours.

    Two tests. Lone spikes: a single point that stands off the line between its neighbours by
    more than an acceleration can explain. Excursions: the longest chain of runs of points in
    which no step is faster than the vehicle could be; what is off the chain is wrong.
    """
    reach = _reach(fixes, counted, settings)
    lone = _lone_outliers(fixes, reach, settings)
    if not len(lone):
        return _off_chain(fixes, reach, settings)
    wrong = np.zeros(len(fixes), dtype=bool)
    wrong[lone] = True
    kept = np.flatnonzero(~wrong)
    wrong[kept] = _off_chain(fixes.at(kept), sums_between(reach, kept), settings)
    return wrong


def _reach(fixes: Positions, counted: CountedWay | None, settings: MotionSettings) -> FloatArray:
    """(n−1,) farthest way that could have been ridden between successive points [m].

    By the recorded speed, with a margin, if that agrees with the positions by and large;
    otherwise at a speed that this ride hardly reached.
    """
    step_s = np.diff(fixes.time_s)
    top = _top_speed(fixes, step_s, settings.top_speed_m_s)
    if counted is not None:
        riding = counted.way_m > 2.0
        most = np.count_nonzero(riding) / 2.0
        above = riding & (fixes.step_m > 0.7 * counted.way_m)
        below = riding & (fixes.step_m < 1.4 * counted.way_m)
        if np.count_nonzero(above) > most and np.count_nonzero(below) > most:
            reach = np.maximum(counted.dash_m, step_s)
            np.minimum(reach, top * step_s, out=reach)
            reach += 1.5 * counted.way_m
            return reach
    return top * step_s


def _top_speed(fixes: Positions, step_s: FloatArray, most_m_s: float) -> float:
    """Speed [m/s] that this ride hardly reached: twice that of a fast stretch of it.

    Measured over some seconds, so that single spikes do not count.
    """
    if not len(step_s):
        return most_m_s
    usual_s = median(step_s[:: max(1, len(step_s) // _ENOUGH)])
    step = max(1, round(5.0 / max(usual_s, 0.1)))
    metres = leg_lengths(fixes.latitude_deg[::step], fixes.longitude_deg[::step])
    if len(metres) < 8:
        return most_m_s
    rank = 9 * len(metres) // 10
    fast = float(np.partition(metres / np.diff(fixes.time_s[::step]), rank)[rank])
    return float(np.clip(2.0 * fast, 8.0, most_m_s))


def _off_chain(fixes: Positions, leg_reach_m: FloatArray, settings: MotionSettings) -> BoolArray:
    """Points off the longest chain of runs that a vehicle could have ridden through.

    A run may give up a few points at its ends: a spike can lie within reach of one side.
    """
    slack = settings.position_slack_m
    broken = fixes.step_m > leg_reach_m + slack
    off = np.zeros(len(fixes), dtype=bool)
    if not broken.any():
        return off
    longitude_deg, latitude_deg = fixes.longitude_deg, fixes.latitude_deg
    reach_m = np.concatenate([[0.0], np.cumsum(leg_reach_m)])
    first = np.concatenate([[0], np.flatnonzero(broken) + 1])
    last = np.concatenate([first[1:] - 1, [len(fixes) - 1]])
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


def _lone_outliers(fixes: Positions, reach_m: FloatArray, settings: MotionSettings) -> IntArray:
    """Numbers of single points that stand too far off the line between their neighbours."""
    if len(fixes) < 4:
        return np.empty(0, dtype=np.intp)
    step_s = np.diff(fixes.time_s)
    before, after = step_s[:-1], step_s[1:]
    share = before / (before + after)
    off = root_of_squares(
        *(
            leg[:-1] - share * (leg[:-1] + leg[1:])
            for leg in (fixes.legs.east_m, fixes.legs.north_m)
        )
    )
    far = np.flatnonzero(off > settings.position_slack_m)
    if not len(far):
        return far
    explained = np.minimum(
        0.5 * settings.top_acceleration_m_s2 * before[far] * after[far],
        np.minimum(reach_m[far], reach_m[far + 1]),
    )
    padded = np.concatenate([[0.0], off, [0.0]])
    here = off[far]
    peak = (here >= padded[far]) & (here >= padded[far + 2])  # its neighbours are raised by half
    return far[peak & (here > explained + settings.position_slack_m)] + 1
