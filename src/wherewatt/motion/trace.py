"""The motion room's one way through: recorded points in, a ride out."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.errors import Problem, TrackError, display_name
from wherewatt.ingest.track import Note, Track
from wherewatt.motion.fixes import CountedWay, Positions, held, spikes, stale_heights
from wherewatt.motion.geodesy import Legs
from wherewatt.motion.odometer import measure_legs
from wherewatt.motion.plane import LocalPlane, short_way, without_jumps
from wherewatt.motion.ride import Ride
from wherewatt.motion.settings import MotionSettings
from wherewatt.motion.smooth import Smoother, white_noise_sd
from wherewatt.motion.stops import list_stops, moments_at_rest, standing_legs
from wherewatt.motion.times import increasing
from wherewatt.text import counted

_SHORTEST_BEND_M = 12.0  # of legs this long the heading is good to a few degrees


def trace_ride(track: Track, settings: MotionSettings) -> Ride:
    """Clean a track and measure its legs.

    Raises
    ------
    TrackError
        If the track has no times, no positions, or does not move.
    """
    points, notes = _timed_points(track)
    fix, fix_notes = _fixes(points, settings)
    recorded_from = float(points.time_s[0])
    if not fix.all():
        inside = slice(*_range_of(fix))
        points, fix = points.at(inside), fix[inside]
    recorded = _recorded_speed(points)
    counted_m = _counted_legs(points, recorded)
    smoother = Smoother(points.time_s)
    latitude, longitude, plane = _path(points, fix, counted_m, smoother, settings)
    standing = standing_legs(points.time_s, plane, recorded, settings)
    legs = Legs.between(latitude, longitude)
    chord_m = np.where(standing, 0.0, legs.length_m)
    if not chord_m.any():
        raise _refuse(track, "no movement", "a ride", "this recording stands still")
    heading = _headings(legs, chord_m > 0.0)
    leg_m, way_notes = measure_legs(
        points.time_s, chord_m * _arc_over_chord(heading, chord_m), counted_m
    )
    distance = np.concatenate([[0.0], np.cumsum(leg_m)])
    if distance[-1] < settings.position_slack_m:
        raise _refuse(
            track, f"{distance[-1]:.0f} m of movement", "a ride", "this recording stands still"
        )
    if recorded is not None:
        recorded = _quiet(recorded, smoother, settings)
    speed, speed_notes = _point_speeds(points.time_s, leg_m, standing, recorded)
    return Ride(
        recorded_from_s=recorded_from - float(points.time_s[0]),
        start_unix_ns=(track.start_unix_ns or 0) + round(float(points.time_s[0]) * 1e9),
        time_s=points.time_s - points.time_s[0],
        latitude_deg=latitude,
        longitude_deg=longitude,
        fixed=fix,
        distance_m=distance,
        speed_m_s=speed,
        recorded_height_m=np.where(
            stale_heights(fix, points.elevation_m), np.nan, points.elevation_m
        ),
        rider_w=points.rider_w,
        heading_rad=heading,
        standing=standing,
        stops=list_stops(
            standing,
            moments_at_rest(points.time_s, recorded, settings),
            points.time_s - points.time_s[0],
            distance,
            creep_m=settings.creep_m,
        ),
        notes=(
            *track.notes,
            *notes,
            *fix_notes,
            *way_notes,
            *speed_notes,
            *_gap_notes(points.time_s, leg_m, standing, settings),
        ),
    )


def _refuse(track: Track, found: str, expected: str, mend: str) -> TrackError:
    return TrackError(Problem(display_name(track.source), "", found, expected, mend))


def _timed_points(track: Track) -> tuple[Track, list[Note]]:
    """Points with a time, in strictly increasing order of time."""
    timed = np.isfinite(track.time_s)
    if timed.sum() < 2:
        raise _refuse(
            track,
            f"{counted(int(timed.sum()), 'point')} with a time among {len(track)}",
            "a recorded ride",
            "a planned route has no times, and energy needs speed: record the ride",
        )
    if np.isfinite(track.latitude_deg[timed]).sum() < 2:
        raise _refuse(
            track, "no positions", "a ride on the road", "an indoor recording cannot be used"
        )
    points = track if timed.all() else track.at(np.flatnonzero(timed))
    kept = increasing(points.time_s)
    if len(kept) < max(2, 0.1 * len(points.time_s)):
        raise _refuse(
            track,
            f"times that increase at {len(kept)} of {len(points.time_s)} points only",
            "times that increase along the track",
            "export the recording again with its times",
        )
    notes = []
    if lost := len(track) - int(timed.sum()):
        notes.append(
            Note("points-without-time", f"{counted(lost, 'point')} without a time left out")
        )
    if lost := len(points.time_s) - len(kept):
        notes.append(
            Note(
                "times-out-of-order",
                f"{counted(lost, 'point')} with a repeated or backward time left out",
            )
        )
    return points if len(kept) == len(points) else points.at(kept), notes


def _fixes(points: Track, settings: MotionSettings) -> tuple[BoolArray, list[Note]]:
    """True at points whose position can be believed; the others are filled in later."""
    fix = np.isfinite(points.latitude_deg) & np.isfinite(points.longitude_deg)
    notes = []
    if missing := int((~fix).sum()):
        notes.append(
            Note("positions-missing", f"{counted(missing, 'point')} without a position, filled in")
        )
    seen = np.flatnonzero(fix)
    places = Positions.of(points.time_s, points.latitude_deg, points.longitude_deg)
    if missing:
        places = places.at(seen)
    stale = held(places, points.speed_m_s[seen], settings)
    fix[seen[stale]] = False
    if count := int(stale.sum()):
        notes.append(
            Note(
                "positions-held",
                f"{counted(count, 'point')} with an old position while moving, filled in",
            )
        )
        places, seen = places.at(np.flatnonzero(~stale)), seen[~stale]
    speed = _recorded_speed(points)
    way = None if speed is None else CountedWay.of(points.time_s, speed, settings)
    if way is not None and len(seen) < len(points):
        way = way.between(seen)
    wild = spikes(places, way, settings)
    fix[seen[wild]] = False
    if count := int(wild.sum()):
        notes.append(
            Note(
                "position-spikes",
                f"{counted(count, 'position')} out of reach of any ride, filled in",
            )
        )
    return fix, notes


def _range_of(fix: BoolArray) -> tuple[int, int]:
    seen = np.flatnonzero(fix)
    return int(seen[0]), int(seen[-1]) + 1


def _path(
    points: Track,
    fix: BoolArray,
    counted_m: FloatArray | None,
    smoother: Smoother,
    settings: MotionSettings,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The way as it probably was, with the gaps between fixes filled in.

    Returns
    -------
    (n,) latitude and (n,) longitude [degree], and (2, n) east and north [m].
    """
    noise: FloatArray | float
    if fix.all():
        plane = LocalPlane(points.latitude_deg, points.longitude_deg)
        noise = min(_position_noise(plane.axes_m), settings.position_noise_m)
    else:
        seen = np.flatnonzero(fix)
        progress = _progress(points.time_s, counted_m)
        plane = LocalPlane(
            np.interp(progress, progress[seen], points.latitude_deg[seen]),
            np.interp(progress, progress[seen], without_jumps(points.longitude_deg[seen])),
        )
        # A filled-in position is a guess: it guides the path without holding it.
        noise = np.full(len(fix), 10.0 * settings.position_noise_m)
        noise[seen] = min(_position_noise(plane.axes_m[:, seen]), settings.position_noise_m)
    smooth = smoother.smooth(plane.axes_m, noise, bend_sd=settings.acceleration_sd_m_s2)
    return *plane.degrees(smooth), smooth


def _progress(time_s: FloatArray, counted_m: FloatArray | None) -> FloatArray:
    """A measure that grows along the ride, to place points between fixes.

    The way the device counted, if it did, with a little time so that it always grows.
    """
    way = np.zeros(len(time_s))
    if counted_m is not None:
        way[1:] = np.cumsum(counted_m)
    return way + 0.01 * (time_s - time_s[0])


def _counted_legs(points: Track, recorded_m_s: FloatArray | None) -> FloatArray | None:
    """(n−1,) way the device counted itself [m]: by its odometer, else by its speed."""
    odometer = _filled(points.time_s, points.odometer_m, np.isfinite(points.odometer_m))
    if odometer is not None:
        legs = np.diff(odometer)
        if legs.min(initial=0.0) >= 0.0 and odometer[-1] > odometer[0]:
            return legs
    return None if recorded_m_s is None else np.diff(points.time_s) * _means(recorded_m_s)


def _means(values: FloatArray) -> FloatArray:
    return (values[1:] + values[:-1]) / 2.0


def _position_noise(axes_m: FloatArray) -> float:
    """White part of the position noise [m], from (2, n) positions; at least a decimetre."""
    return max(0.1, *map(white_noise_sd, axes_m))


def _recorded_speed(points: Track) -> FloatArray | None:
    """Recorded speed with its short gaps filled in, or None where most of it is missing."""
    known = np.isfinite(points.speed_m_s) & (points.speed_m_s >= 0)
    return _filled(points.time_s, points.speed_m_s, known)


def _filled(time_s: FloatArray, values: FloatArray, known: BoolArray) -> FloatArray | None:
    """Values with those that are not known filled in; None where most of them are missing."""
    if known.all():
        return values
    if np.count_nonzero(known) < 0.8 * len(known):
        return None
    return np.interp(time_s, time_s[known], values[known])


def _quiet(speed_m_s: FloatArray, smoother: Smoother, settings: MotionSettings) -> FloatArray:
    """Recorded speed without its white noise, which would count as braking and speeding up."""
    sd = min(max(white_noise_sd(speed_m_s), 0.01), settings.speed_noise_m_s)
    smooth = smoother.smooth(speed_m_s[np.newaxis], sd, bend_sd=settings.jerk_sd_m_s3)[0]
    return np.maximum(smooth, 0.0, out=smooth)


def _point_speeds(
    time_s: FloatArray, leg_m: FloatArray, standing: BoolArray, recorded: FloatArray | None
) -> tuple[FloatArray, list[Note]]:
    """(n,) speeds [m/s]: recorded ones, scaled to the measured way; else from the path."""
    leg_s = np.diff(time_s)
    notes = []
    speed = None
    if recorded is not None:
        way = _means(recorded) * leg_s
        way[standing] = 0.0
        counted = float(np.sum(way))
        ratio = float(np.sum(leg_m)) / counted if counted > 0 else np.inf
        if 0.8 < ratio < 1.25:
            speed = recorded * ratio
        if abs(ratio - 1.0) > 0.05:
            done = "scaled to the positions" if speed is not None else "not used"
            message = f"recorded speed gives {1 / ratio:.2f} times the way positions give; {done}"
            notes.append(Note("speed-and-positions-differ", message))
    if speed is None:
        leg_speed = leg_m / leg_s
        # Time-weighted towards the shorter leg, which says more about the point between the two.
        inner = (leg_speed[:-1] * leg_s[1:] + leg_speed[1:] * leg_s[:-1]) / (leg_s[:-1] + leg_s[1:])
        speed = np.concatenate([leg_speed[:1], inner, leg_speed[-1:]])
    at_rest = np.append(standing, False)
    at_rest[1:] |= standing
    return np.where(at_rest, 0.0, speed), notes


def _headings(legs: Legs, moving: BoolArray) -> FloatArray:
    """(n−1,) azimuth of each leg [rad]; while standing, that of the last moving leg."""
    first = int(np.argmax(moving))
    latest = np.maximum.accumulate(np.where(moving, np.arange(len(moving)), first))
    return legs.azimuth_rad[latest]


def _arc_over_chord(heading_rad: FloatArray, chord_m: FloatArray) -> FloatArray:
    """(n−1,) length of a bend over the straight line between its ends [1].

    Sparse points cut corners. A leg that turns by θ is taken as a circular arc, which is θ/2 over
    sin θ/2 longer; the turn is half of that to the leg before and half of that to the next. Legs
    shorter than the position noise allows say nothing about bends.
    """
    long = chord_m > _SHORTEST_BEND_M
    bend = np.flatnonzero(long[1:] & long[:-1])
    turn = np.zeros(len(chord_m) + 1)
    turn[bend + 1] = np.radians(short_way(np.degrees(heading_rad[bend + 1] - heading_rad[bend])))
    of_leg = turn[1:] + turn[:-1]
    bent = np.flatnonzero(of_leg)
    longer = np.ones(len(chord_m))
    longer[bent] /= np.sinc(np.minimum(np.abs(of_leg[bent]) / (4.0 * np.pi), 0.25))
    return longer


def _gap_notes(
    time_s: FloatArray, leg_m: FloatArray, standing: BoolArray, settings: MotionSettings
) -> list[Note]:
    leg_s = np.diff(time_s)
    gaps = (leg_s > settings.gap_s) & ~standing
    pauses = (leg_s > settings.gap_s) & standing
    notes = []
    if gaps.any():
        count = counted(int(gaps.sum()), "gap")
        what = f"{count} in the recording while moving, {leg_m[gaps].sum():.0f} m"
        notes.append(Note("recording-gaps", f"{what}; taken as steady riding in a straight line"))
    if pauses.any():
        count = counted(int(pauses.sum()), "pause")
        what = f"{count} of the recording, {leg_s[pauses].sum():.0f} s in all"
        notes.append(Note("recording-pauses", f"{what}; part of the ride"))
    if (leg_s > settings.longest_pause_s).any():
        hours = settings.longest_pause_s / 3600.0
        message = f"a pause of more than {hours:g} h: taken as switched off after that"
        notes.append(Note("long-pause", message))
    return notes
