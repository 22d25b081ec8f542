"""Recorded points to a ride: what is wrong is left out, what is ridden is measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.motion.builders import MOTION, distance_of, make_track, on_the_ground, wander
from wherewatt.arrays import FloatArray
from wherewatt.errors import TrackError
from wherewatt.ingest.track import Track
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride

SPEED_M_S = 6.0


def codes(ride: Ride) -> set[str]:
    return {note.code for note in ride.notes}


def straight(time_s: FloatArray) -> FloatArray:
    return SPEED_M_S * time_s


def displaced(track: Track, index: object, east_m: float, north_m: float) -> Track:
    """The track with some positions moved."""
    latitude, longitude = track.latitude_deg.copy(), track.longitude_deg.copy()
    per_degree = 111_195.0
    latitude[index] += north_m / per_degree
    longitude[index] += east_m / per_degree / np.cos(np.radians(latitude[0]))
    return replace(track, latitude_deg=latitude, longitude_deg=longitude)


@pytest.mark.parametrize(
    ("index", "off_m"),
    [
        (slice(100, 101), 50.0),
        (slice(100, 101), 2000.0),
        (slice(100, 106), 800.0),
        (slice(0, 1), 900.0),
        (slice(0, 4), 900.0),
        (slice(297, 301), 900.0),
        ([60, 61, 62, 180, 181], 500.0),
        (slice(100, 140), 50_000.0),
    ],
    ids=["near", "far", "several", "first", "first few", "last few", "two places", "many far"],
)
def test_spikes_are_left_out(index: object, off_m: float) -> None:
    time = np.arange(301.0)
    track = displaced(make_track(time, straight(time)), index, 0.3 * off_m, off_m)
    ride = trace_ride(track, MOTION)
    spiked = np.zeros(len(time), dtype=bool)
    spiked[index] = True
    kept = straight(time)[~spiked]
    assert ride.distance_m[-1] == pytest.approx(kept[-1] - kept[0], rel=0.01)
    assert "position-spikes" in codes(ride)


def test_plain_ride_has_no_spikes() -> None:
    """Hard braking, tight bends and noise are riding."""
    rng = np.random.default_rng(1)
    time = np.arange(0.0, 600.0)
    way = distance_of(time, speed_m_s=11.0, stops=((100.0, 130.0), (300.0, 310.0)))
    corner = np.minimum(way, 1500.0), np.maximum(way - 1500.0, 0.0)
    east, north = (axis + rng.normal(0.0, 2.0, len(time)) for axis in corner)
    ride = trace_ride(make_track(time, east, north), MOTION)
    assert "position-spikes" not in codes(ride)
    assert ride.distance_m[-1] == pytest.approx(way[-1], rel=0.03)


def test_repeated_and_backward_times() -> None:
    time = np.arange(0.0, 300.0)
    track = make_track(time, straight(time))
    spoilt = time.copy()
    spoilt[50] = spoilt[49]
    spoilt[120] -= 60.0
    spoilt[200] += 3600.0
    ride = trace_ride(replace(track, time_s=spoilt), MOTION)
    assert np.all(np.diff(ride.time_s) > 0)
    assert len(ride.time_s) == 297
    assert ride.time_s[-1] == 299.0
    assert ride.distance_m[-1] == pytest.approx(straight(time)[-1], rel=1e-3)
    assert "times-out-of-order" in codes(ride)


def test_points_without_time_are_left_out() -> None:
    time = np.arange(0.0, 300.0)
    track = make_track(time, straight(time))
    holes = time.copy()
    holes[[5, 100, 101]] = np.nan
    ride = trace_ride(replace(track, time_s=holes), MOTION)
    assert len(ride.time_s) == 297
    assert "points-without-time" in codes(ride)


def held_track(*, with_speed: bool) -> tuple[Track, FloatArray]:
    """A position every 12 s, repeated every second in between."""
    time = np.arange(0.0, 601.0)
    way = straight(time)
    track = make_track(
        time, way[(time // 12 * 12).astype(int)], speed_m_s=np.full(len(time), SPEED_M_S)
    )
    if not with_speed:
        track = replace(track, speed_m_s=np.full(len(time), np.nan))
    return track, way


@pytest.mark.parametrize("with_speed", [True, False])
def test_held_positions_are_not_stops(with_speed: bool) -> None:
    track, way = held_track(with_speed=with_speed)
    ride = trace_ride(track, MOTION)
    assert ride.stops == ()
    assert not ride.standing.any()
    assert ride.distance_m[-1] == pytest.approx(way[-1], rel=0.01)
    assert "positions-held" in codes(ride)
    inner = slice(24, -24)
    assert np.median(ride.leg_speed_m_s[inner]) == pytest.approx(SPEED_M_S, rel=0.02)
    assert np.std(ride.leg_speed_m_s[inner]) < 0.5


def test_a_height_that_comes_with_an_old_position_is_old() -> None:
    """Else a climb of 5 % looks like a staircase; a barometer goes on between fixes."""
    track, way = held_track(with_speed=True)
    climb = 0.05 * way
    held = trace_ride(
        replace(track, elevation_m=climb[(track.time_s // 12 * 12).astype(int)]), MOTION
    )
    known = np.isfinite(held.recorded_height_m)
    assert np.array_equal(np.flatnonzero(known), np.arange(0, len(held.time_s), 12))
    barometer = trace_ride(replace(track, elevation_m=climb), MOTION)
    assert np.isfinite(barometer.recorded_height_m).all()


@pytest.mark.parametrize("with_speed", [True, False])
def test_a_stop_at_one_position_is_a_stop(with_speed: bool) -> None:
    time = np.arange(0.0, 601.0)
    way = distance_of(time, speed_m_s=SPEED_M_S, stops=((200.0, 245.0),))
    speed = np.gradient(way, time)
    track = make_track(time, way, speed_m_s=speed if with_speed else None)
    ride = trace_ride(track, MOTION)
    assert "positions-held" not in codes(ride)
    assert len(ride.stops) == 1
    stop = ride.stops[0]
    assert stop.start_s == pytest.approx(200.0, abs=4.0)
    assert stop.end_s == pytest.approx(245.0, abs=4.0)
    assert stop.distance_m == pytest.approx(way[220], abs=5.0)


def test_a_pause_stays_in_the_ride() -> None:
    """The recording was paused for ten minutes: the time counts, the vehicle stands."""
    time = np.concatenate([np.arange(0.0, 300.0), np.arange(900.0, 1200.0)])
    way = np.concatenate([straight(time[:300]), straight(time[300:] - 600.0)])
    ride = trace_ride(make_track(time, way), MOTION)
    assert ride.time_s[-1] == 1199.0
    leg = int(np.searchsorted(ride.time_s, 600.0)) - 1
    assert ride.standing[leg]
    assert ride.leg_time_s[leg] == 601.0
    assert ride.distance_m[-1] == pytest.approx(way[-1], rel=0.01)
    assert "recording-pauses" in codes(ride)
    assert any(stop.end_s - stop.start_s > 590.0 for stop in ride.stops)


def test_drift_while_standing_adds_no_distance() -> None:
    """A phone's position wanders by metres while it stands for five minutes."""
    rng = np.random.default_rng(4)
    time = np.arange(0.0, 900.0)
    way = distance_of(time, speed_m_s=SPEED_M_S, stops=((300.0, 600.0),))
    drift = wander(time, rng)
    ride = trace_ride(make_track(time, way + drift[0], drift[1]), MOTION)
    inside = (ride.time_s[:-1] > 310.0) & (ride.time_s[1:] < 590.0)
    assert np.sum(ride.leg_distance_m[inside]) < 5.0
    assert ride.distance_m[-1] == pytest.approx(way[-1], rel=0.01)
    assert len(ride.stops) == 1


def test_a_gap_between_two_stands_does_not_cost_the_rest_of_the_ride() -> None:
    """The recorder slept from a stand to a stand, and 180 m were ridden in between."""
    time = np.arange(0.0, 601.0)
    way = distance_of(time, speed_m_s=SPEED_M_S, stops=((200.0, 220.0), (250.0, 265.0)))
    speed = np.gradient(way, time)
    awake = (time < 219.0) | (time > 255.0)
    track = make_track(time[awake], way[awake], speed_m_s=speed[awake])
    ride = trace_ride(track, MOTION)
    assert "position-spikes" not in codes(ride)
    assert ride.distance_m[-1] == pytest.approx(way[-1], rel=0.01)
    assert ride.fixed.all()
    assert "recording-gaps" in codes(ride)


def test_a_gap_while_moving_is_noted() -> None:
    time = np.concatenate([np.arange(0.0, 200.0), np.arange(260.0, 500.0)])
    ride = trace_ride(make_track(time, straight(time)), MOTION)
    assert "recording-gaps" in codes(ride)
    assert not ride.standing.any()
    assert ride.distance_m[-1] == pytest.approx(straight(time)[-1], rel=2e-3)


@pytest.mark.parametrize("origin", [(-17.0, 179.99), (52.0, 179.995)])
def test_across_the_date_line(origin: tuple[float, float]) -> None:
    time = np.arange(0.0, 601.0)
    track = make_track(time, straight(time), origin=origin)
    assert track.longitude_deg.min() < 0 < track.longitude_deg.max()
    ride = trace_ride(track, MOTION)
    assert ride.distance_m[-1] == pytest.approx(straight(time)[-1], rel=1e-3)
    assert np.all(np.abs(ride.longitude_deg) <= 180.0)
    assert "position-spikes" not in codes(ride)


def test_two_points() -> None:
    ride = trace_ride(make_track(np.array([0.0, 10.0]), np.array([0.0, 60.0])), MOTION)
    assert len(ride.standing) == 1
    assert ride.distance_m[-1] == pytest.approx(60.0, rel=1e-6)
    assert ride.speed_m_s == pytest.approx([6.0, 6.0], rel=1e-6)
    assert ride.heading_rad[0] == pytest.approx(np.pi / 2, abs=1e-4)


TIME = np.arange(0.0, 60.0)
NOTHING = np.full(len(TIME), np.nan)
UNUSABLE = {
    "all points equal": make_track(TIME, np.zeros(len(TIME))),
    "one point": make_track(TIME[:1], np.zeros(1)),
    "no times": replace(make_track(TIME, straight(TIME)), time_s=NOTHING),
    "one time": make_track(np.zeros(len(TIME)), straight(TIME)),
    "no positions": replace(
        make_track(TIME, straight(TIME)), latitude_deg=NOTHING, longitude_deg=NOTHING
    ),
}


@pytest.mark.parametrize("track", UNUSABLE.values(), ids=UNUSABLE.keys())
def test_no_ride(track: Track) -> None:
    with pytest.raises(TrackError, match=r"^ride\.gpx"):
        trace_ride(track, MOTION)


@pytest.mark.parametrize("sampling_s", [4.0, 12.0])
@pytest.mark.parametrize("with_speed", [True, False])
def test_coarse_sampling(sampling_s: float, with_speed: bool) -> None:
    rng = np.random.default_rng(2)
    time = np.arange(0.0, 1800.1, sampling_s)
    way = distance_of(time, speed_m_s=7.0, stops=((600.0, 660.0), (1200.0, 1290.0)))
    radius = 400.0
    east, north = radius * np.sin(way / radius), radius * (1.0 - np.cos(way / radius))
    drift = wander(time, rng)
    speed = np.gradient(way, time) if with_speed else None
    ride = trace_ride(make_track(time, east + drift[0], north + drift[1], speed_m_s=speed), MOTION)
    assert ride.distance_m[-1] == pytest.approx(way[-1], rel=0.02)
    assert len(ride.stops) == 2
    assert sum(stop.end_s - stop.start_s for stop in ride.stops) == pytest.approx(
        150.0, abs=4.0 * sampling_s
    )
    assert "position-spikes" not in codes(ride)


@pytest.mark.parametrize("noise_m", [0.0, 1.0, 3.0])
def test_noise_adds_little_distance(noise_m: float) -> None:
    """Raw legs of 3 m noise at 1 Hz would add a tenth and more."""
    rng = np.random.default_rng(9)
    time = np.arange(0.0, 1201.0)
    noise = rng.normal(0.0, noise_m, (2, len(time)))
    ride = trace_ride(make_track(time, straight(time) + noise[0], noise[1]), MOTION)
    assert ride.distance_m[-1] == pytest.approx(straight(time)[-1], rel=0.02)


def test_speed_of_the_points() -> None:
    """Recorded or not, the speed integrates to the distance and is zero at rest."""
    time = np.arange(0.0, 901.0)
    way = distance_of(time, speed_m_s=SPEED_M_S, stops=((300.0, 340.0),))
    speed = np.gradient(way, time)
    for recorded in (None, speed, 1.06 * speed):
        ride = trace_ride(make_track(time, way, speed_m_s=recorded), MOTION)
        integral = np.sum((ride.speed_m_s[1:] + ride.speed_m_s[:-1]) / 2.0 * ride.leg_time_s)
        assert integral == pytest.approx(ride.distance_m[-1], rel=0.02)
        assert np.interp(320.0, ride.time_s, ride.speed_m_s) == 0.0
        assert np.interp(600.0, ride.time_s, ride.speed_m_s) == pytest.approx(SPEED_M_S, rel=0.02)


def test_recorded_speed_in_another_unit_is_not_used() -> None:
    time = np.arange(0.0, 601.0)
    ride = trace_ride(
        make_track(time, straight(time), speed_m_s=np.full(len(time), 3.6 * SPEED_M_S)), MOTION
    )
    assert "speed-and-positions-differ" in codes(ride)
    assert np.median(ride.speed_m_s) == pytest.approx(SPEED_M_S, rel=0.01)


def test_heading() -> None:
    """East, then north, then west; while standing that of the leg before."""
    time = np.arange(0.0, 301.0)
    way = straight(time)
    east = np.minimum(way, 600.0) - np.maximum(way - 1200.0, 0.0)
    north = np.clip(way - 600.0, 0.0, 600.0)
    ride = trace_ride(make_track(time, east, north), MOTION)
    heading = np.degrees(ride.heading_rad) % 360.0
    assert heading[50] == pytest.approx(90.0, abs=1.0)
    assert heading[150] % 360.0 == pytest.approx(0.0, abs=1.0)
    assert heading[250] == pytest.approx(270.0, abs=1.0)


def test_missing_positions_are_filled_in() -> None:
    """In a tunnel there is time, height and speed, but no position."""
    time = np.arange(0.0, 601.0)
    track = make_track(time, straight(time), speed_m_s=np.full(len(time), SPEED_M_S))
    latitude, longitude = on_the_ground(straight(time), np.zeros(len(time)))
    latitude[200:260] = longitude[200:260] = np.nan
    ride = trace_ride(replace(track, latitude_deg=latitude, longitude_deg=longitude), MOTION)
    assert len(ride.time_s) == len(time)
    assert np.isfinite(ride.latitude_deg).all()
    assert ride.distance_m == pytest.approx(straight(time), rel=0.01, abs=5.0)
    assert "positions-missing" in codes(ride)


def test_sparse_recording_catches_a_stop_in_one_point() -> None:
    """Every 12 s, a wheel sensor: a stand-still of 12 s shows as one point at rest."""
    time = np.arange(0.0, 1201.0)
    way = distance_of(time, speed_m_s=SPEED_M_S, stops=((605.0, 617.0),))
    kept = np.arange(0, 1201, 12)
    speed = np.gradient(way, time)
    ride = trace_ride(make_track(time[kept], way[kept], speed_m_s=np.round(speed[kept], 2)), MOTION)
    assert len(ride.stops) == 1
    assert ride.stops[0].start_s == ride.stops[0].end_s == 612.0


def test_recorder_that_slept_stands() -> None:
    """Two minutes between two points at one place, both recorded while rolling."""
    time = np.arange(0.0, 1201.0)
    way = distance_of(time, speed_m_s=SPEED_M_S, stops=((500.0, 620.0),))
    speed = np.gradient(way, time)
    kept = (time <= 498.0) | (time >= 622.0)
    ride = trace_ride(make_track(time[kept], way[kept], speed_m_s=speed[kept]), MOTION)
    assert len(ride.stops) == 1
    assert ride.stops[0].end_s - ride.stops[0].start_s > 110.0
