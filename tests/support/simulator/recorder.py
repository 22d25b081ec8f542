"""What a phone or a bike computer makes of a ride.

Phones see height by satellite, drift slowly and record no speed, or a Doppler speed. Bike
computers feel height by air pressure, which is fine in shape and drifts with the weather, and
take speed and distance from a wheel sensor. Both lose their place now and then.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from .noise import FloatArray, ou_at
from .world import to_geographic


class Recorder(Enum):
    """Kind of recorder."""

    PHONE = "phone"
    COMPUTER = "computer"


@dataclass(frozen=True, slots=True)
class RecordedTrack:
    """A track as recorded, faults and all.

    Arrays have shape (n,).

    Attributes
    ----------
    recorder : Recorder
    time_unix_s : array
        Clock time [s since 1970]; whole seconds; a time may occur twice.
    lat_deg, lon_deg : array
        Place.
    height_m : array
        Recorded height [m].
    speed_m_s, distance_m : array
        Recorded speed and distance; all NaN where the recorder has none.
    piece : int array
        Number of the piece between pauses of the recorder, from 0.
    """

    recorder: Recorder
    time_unix_s: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    height_m: FloatArray
    speed_m_s: FloatArray
    distance_m: FloatArray
    piece: NDArray[np.int64]

    def take(self, index: NDArray[np.int64]) -> RecordedTrack:
        """Return the track with the points of `index` only, in that order."""
        return RecordedTrack(
            self.recorder,
            self.time_unix_s[index],
            self.lat_deg[index],
            self.lon_deg[index],
            self.height_m[index],
            self.speed_m_s[index],
            self.distance_m[index],
            self.piece[index],
        )


@dataclass(frozen=True, slots=True)
class TrueMotion:
    """What a recorder could know, at n + 1 instants.

    Attributes
    ----------
    start_unix_s : float
        Clock time of the start, a whole second [s].
    time_s, x_m, y_m, height_m, speed_m_s, shown_distance_m : array
        Time since the start, plane place, height, speed, distance as shown to the rider.
    pauses : list of (float, float)
        When the recorder is paused [s since the start].
    """

    start_unix_s: float
    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    height_m: FloatArray
    speed_m_s: FloatArray
    shown_distance_m: FloatArray
    pauses: list[tuple[float, float]]


def record(
    motion: TrueMotion,
    recorder: Recorder,
    sampling_s: float | None,
    rng: np.random.Generator,
) -> RecordedTrack:
    """Record a ride.

    Parameters
    ----------
    motion : TrueMotion
        The ride.
    recorder : Recorder
        Kind of recorder.
    sampling_s : float, optional
        Time between points [s]; 0 for irregular steps of 1 to 10 s; drawn when not given.
    rng : numpy.random.Generator
        Source of randomness.
    """
    if sampling_s is None:
        sampling_s = float(rng.choice([1.0, 4.0, 0.0], p=[0.6, 0.15, 0.25]))
    time_s, piece = _sample_times(motion, sampling_s, rng)
    at = {
        name: np.interp(time_s, motion.time_s, getattr(motion, name))
        for name in ("x_m", "y_m", "height_m", "speed_m_s", "shown_distance_m")
    }
    standing = at["speed_m_s"] < 0.3
    phone = recorder is Recorder.PHONE
    sd_m = rng.uniform(2.4, 3.6) if phone else rng.uniform(1.2, 2.2)
    x_m = at["x_m"] + _place_error(time_s, standing, sd_m, rng)
    y_m = at["y_m"] + _place_error(time_s, standing, sd_m, rng)
    _spike(x_m, y_m, rng)
    height = _phone_height if phone else _barometer_height
    speed_m_s, distance_m = _speed_and_distance(phone, at, rng)
    lat_deg, lon_deg = to_geographic(x_m, y_m)
    track = RecordedTrack(
        recorder, motion.start_unix_s + time_s, lat_deg, lon_deg,
        height(time_s, at["height_m"], rng), speed_m_s, distance_m, piece,
    )  # fmt: skip
    return _lose_and_repeat(track, rng)


def _sample_times(
    motion: TrueMotion, sampling_s: float, rng: np.random.Generator
) -> tuple[FloatArray, NDArray[np.int64]]:
    end_s = float(np.floor(motion.time_s[-1]))
    if sampling_s > 0.0:
        time_s = np.arange(0.0, end_s + 0.5, sampling_s)
    else:
        steps = rng.integers(1, 11, int(end_s))
        time_s = np.concatenate([[0.0], np.cumsum(steps)]).astype(np.float64)
        time_s = time_s[time_s <= end_s]
    if time_s[-1] < end_s:
        time_s = np.append(time_s, end_s)
    piece = np.zeros(time_s.size, dtype=np.int64)
    running = np.ones(time_s.size, dtype=bool)
    for from_s, to_s in motion.pauses:
        # A few seconds pass between standing and pressing the button.
        running &= (time_s < from_s + 3.0) | (time_s > to_s - 3.0)
        piece[time_s > to_s - 3.0] += 1
    return time_s[running], piece[running]


def _place_error(
    time_s: FloatArray, standing: NDArray[np.bool_], sd_m: float, rng: np.random.Generator
) -> FloatArray:
    """Slowly wandering error, a little white noise, and a walk while standing [m]."""
    walk_m, value = [], 0.0
    kicks = rng.standard_normal(time_s.size)
    for dt, rests, kick in zip(
        np.diff(time_s, prepend=time_s[:1]).tolist(), standing.tolist(), kicks.tolist(), strict=True
    ):
        value = value + 0.15 * np.sqrt(dt) * kick if rests else value * np.exp(-dt / 20.0)
        walk_m.append(value)
    white_m = (0.5 if sd_m > 2.3 else 0.25) * rng.standard_normal(time_s.size)
    return ou_at(rng, time_s, rng.uniform(60.0, 150.0), sd_m) + white_m + np.array(walk_m)


def _spike(x_m: FloatArray, y_m: FloatArray, rng: np.random.Generator) -> None:
    """Throw a point or two far off, in most rides none."""
    for _ in range(rng.poisson(0.7)):
        at = int(rng.integers(1, x_m.size - 1))
        bearing, distance_m = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(40.0, 180.0)
        x_m[at] += distance_m * np.sin(bearing)
        y_m[at] += distance_m * np.cos(bearing)


def _phone_height(time_s: FloatArray, height_m: FloatArray, rng: np.random.Generator) -> FloatArray:
    drift_m = rng.normal(0.0, 4.0) + ou_at(rng, time_s, rng.uniform(150.0, 400.0), 6.0)
    noisy_m = height_m + drift_m + rng.standard_normal(time_s.size)
    return np.round(noisy_m, 1)


def _barometer_height(
    time_s: FloatArray, height_m: FloatArray, rng: np.random.Generator
) -> FloatArray:
    drift_m = rng.normal(0.0, 5.0) + ou_at(rng, time_s, 2_400.0, rng.uniform(1.0, 3.0))
    scale = 1.0 + rng.normal(0.0, 0.01)  # the standard atmosphere is not today's
    noisy_m = height_m[0] + scale * (height_m - height_m[0]) + drift_m
    noisy_m = noisy_m + rng.uniform(0.15, 0.4) * rng.standard_normal(time_s.size)
    return np.round(5.0 * noisy_m) / 5.0


def _speed_and_distance(
    phone: bool, at: dict[str, FloatArray], rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    speed_m_s = at["speed_m_s"]
    nothing = np.full(speed_m_s.size, np.nan)
    noise = rng.standard_normal(speed_m_s.size)
    if not phone:
        noisy = np.where(speed_m_s > 0.3, speed_m_s + 0.06 * noise, 0.0)
        return np.maximum(noisy, 0.0).round(3), np.round(at["shown_distance_m"], 2)
    if rng.random() < 0.4:
        return np.maximum(speed_m_s + 0.25 * noise, 0.0).round(2), nothing
    return nothing, nothing


def _lose_and_repeat(track: RecordedTrack, rng: np.random.Generator) -> RecordedTrack:
    """Lose the satellites for up to a minute in half of the rides; note one time twice in some."""
    index = np.arange(track.time_unix_s.size)
    if rng.random() < 0.5:
        lost_s = rng.uniform(20.0, 60.0)
        from_s = rng.uniform(track.time_unix_s[0] + 120.0, track.time_unix_s[-1] - 200.0)
        index = index[(track.time_unix_s < from_s) | (track.time_unix_s > from_s + lost_s)]
    if rng.random() < 0.3:
        again = int(rng.integers(1, index.size - 1))
        index = np.insert(index, again, index[again])
    return track.take(index)
