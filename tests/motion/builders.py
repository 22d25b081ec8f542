"""Tracks and rides made by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pyproj import Geod

from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.ingest.track import Track
from wherewatt.motion.ride import Ride, Stop

MOTION = load_config().motion
WGS84 = Geod(ellps="WGS84")
START_UNIX_NS = 1_746_352_800_000_000_000  # 2025-05-04T10:00:00Z


def on_the_ground(
    east_m: FloatArray, north_m: FloatArray, origin: tuple[float, float] = (46.0, 7.0)
) -> tuple[FloatArray, FloatArray]:
    """Latitude and longitude of a plane put on the ellipsoid at its origin [degree]."""
    azimuth = np.degrees(np.arctan2(east_m, north_m))
    start = np.full(len(east_m), origin[0]), np.full(len(east_m), origin[1])
    longitude, latitude, _ = WGS84.fwd(start[1], start[0], azimuth, np.hypot(east_m, north_m))
    return np.asarray(latitude), np.asarray(longitude)


def make_track(
    time_s: FloatArray,
    east_m: FloatArray,
    north_m: FloatArray | None = None,
    *,
    origin: tuple[float, float] = (46.0, 7.0),
    elevation_m: FloatArray | None = None,
    speed_m_s: FloatArray | None = None,
    rider_w: FloatArray | None = None,
) -> Track:
    """A track over a plane; what is not given was not recorded."""
    missing = np.full(len(time_s), np.nan)
    north = np.zeros(len(time_s)) if north_m is None else north_m
    latitude, longitude = on_the_ground(east_m, north, origin)
    return Track(
        source=Path("ride.gpx"),
        sha256="0" * 64,
        start_unix_ns=START_UNIX_NS,
        time_s=np.asarray(time_s, dtype=float),
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=missing if elevation_m is None else elevation_m,
        speed_m_s=missing if speed_m_s is None else speed_m_s,
        odometer_m=missing,
        rider_w=missing if rider_w is None else rider_w,
        cadence_rpm=missing,
        temperature_c=missing,
        battery_v=missing,
        battery_a=missing,
    )


def distance_of(
    time_s: FloatArray, *, speed_m_s: float, stops: tuple[tuple[float, float], ...] = ()
) -> FloatArray:
    """Distance of a ride at one speed that stands still between the times of each stop [m].

    It brakes and speeds up at 1 m/s², so that the recording is one a vehicle could make.
    """
    fine = np.arange(time_s[0], time_s[-1] + 0.1, 0.1)
    allowed = np.full(len(fine), speed_m_s)
    for start, end in ((-np.inf, time_s[0]), *stops, (time_s[-1], np.inf)):
        away = np.maximum(np.maximum(start - fine, fine - end), 0.0)
        allowed = np.minimum(allowed, away)
    way = np.concatenate([[0.0], np.cumsum((allowed[1:] + allowed[:-1]) / 2.0 * 0.1)])
    return np.interp(time_s, fine, way)


def wander(
    time_s: FloatArray, rng: np.random.Generator, *, sd_m: float = 3.0, white_m: float = 0.5
) -> FloatArray:
    """(2, n) position error as satellites give it: it wanders over a minute, and trembles."""
    error = np.zeros((2, len(time_s)))
    keep = np.exp(-np.diff(time_s) / 60.0)
    for step, kept in enumerate(keep):
        error[:, step + 1] = kept * error[:, step] + sd_m * np.sqrt(1.0 - kept**2) * rng.normal(
            size=2
        )
    return error + rng.normal(0.0, white_m, error.shape)


def plain_ride(
    *,
    duration_s: float = 1200.0,
    speed_m_s: float = 6.0,
    stops: tuple[tuple[float, float], ...] = ((300.0, 330.0), (700.0, 720.0)),
    recorded_height_m: FloatArray | None = None,
    rider_w: FloatArray | None = None,
) -> Ride:
    """A cleaned ride along the equator to the east, 1 s a leg."""
    time = np.arange(0.0, duration_s + 0.5)
    distance = distance_of(time, speed_m_s=speed_m_s, stops=stops)
    standing = np.zeros(len(time) - 1, dtype=bool)
    for start, end in stops:
        standing |= (time[:-1] >= start) & (time[1:] <= end)
    speed = np.gradient(distance, time)
    at_rest = np.concatenate([standing, [True]]) | np.concatenate([[True], standing])
    missing = np.full(len(time), np.nan)
    return Ride(
        recorded_from_s=0.0,
        start_unix_ns=START_UNIX_NS,
        time_s=time,
        latitude_deg=np.zeros(len(time)),
        longitude_deg=np.degrees(distance / 6_378_137.0),
        fixed=np.ones(len(time), dtype=bool),
        distance_m=distance,
        speed_m_s=np.where(at_rest, 0.0, speed),
        recorded_height_m=missing if recorded_height_m is None else recorded_height_m,
        rider_w=missing if rider_w is None else rider_w,
        heading_rad=np.full(len(standing), np.pi / 2.0),
        standing=standing,
        stops=tuple(
            Stop(start, end, float(np.interp(start, time, distance))) for start, end in stops
        ),
    )
