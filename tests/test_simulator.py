"""The simulator keeps its own books straight and writes files that others can read."""

from __future__ import annotations

import tomllib
import zipfile
from pathlib import Path

import fitdecode
import gpxpy
import numpy as np
import pytest

from tests.support.simulator import (
    CHARACTERS,
    RecordedTrack,
    SimulatedRide,
    simulate,
    terrain_m,
    tile_heights,
    to_geographic,
    to_plane,
    write_tile,
)
from tests.support.simulator.drive import COLUMNS
from tests.support.simulator.fit_writer import crc16

COSTS = [
    "rolling_w", "air_w", "gravity_w", "kinetic_w", "brake_w", "motor_loss_w", "aux_w",
]  # fmt: skip


@pytest.fixture(scope="module")
def mountain() -> SimulatedRide:
    return simulate("mountain", 3, recorder="computer", sampling_s=1.0, units="mi")


@pytest.mark.parametrize("character", CHARACTERS)
def test_every_step_balances(character: str) -> None:
    truth = simulate(character, 1).truth
    costs_w = sum(truth.steps[name] for name in COSTS)
    np.testing.assert_allclose(costs_w, truth.battery_w, atol=1e-9)
    assert set(truth.steps) == set(COLUMNS)
    assert (truth.steps["brake_w"] >= 0.0).all()
    assert (truth.steps["motor_loss_w"] >= -1e-9).all()


def test_stored_energy_adds_up_over_the_ride(mountain: SimulatedRide) -> None:
    truth, vehicle = mountain.truth, mountain.truth.vehicle
    dt_s = np.diff(truth.time_s)
    rise_m = truth.height_m[-1] - truth.height_m[0]
    lifted_j = vehicle.total_mass_kg * 9.80665 * rise_m
    assert np.sum(truth.steps["gravity_w"] * dt_s) == pytest.approx(lifted_j, abs=1.0)
    assert np.sum(truth.steps["kinetic_w"] * dt_s) == pytest.approx(0.0, abs=1e-6)


def test_charge_and_energy_agree(mountain: SimulatedRide) -> None:
    truth = mountain.truth
    battery = truth.battery
    curve_v = battery.curve_v()
    charge = np.linspace(0.0, 1.0, curve_v.size)
    between = (charge <= truth.soc[0]) & (charge >= truth.soc[-1])
    open_circuit_wh = battery.charge_ah * np.trapezoid(curve_v[between], charge[between])
    # What the cells gave up is what left the terminals and a few percent of heat.
    assert 0.88 < truth.total_wh / open_circuit_wh < 0.995


def test_energy_between_times_partitions_the_ride(mountain: SimulatedRide) -> None:
    truth = mountain.truth
    edges = truth.start_unix_s + np.linspace(0.0, truth.time_s[-1], 37)
    parts_wh = truth.energy_wh_between(edges[:-1], edges[1:])
    assert parts_wh.sum() == pytest.approx(truth.total_wh, rel=1e-12)
    assert truth.energy_wh_between(edges[:1] - 100.0, edges[:1])[0] == 0.0


@pytest.mark.parametrize("character", CHARACTERS)
def test_energies_are_of_a_light_vehicle(character: str) -> None:
    truth = simulate(character, 2).truth
    assert 5.0 < truth.total_wh / (truth.distance_m[-1] / 1_000.0) < 35.0
    assert truth.speed_m_s.max() < 16.0
    assert truth.soc.min() > 0.0


def test_same_seed_same_ride_whatever_the_recorder(tmp_path: Path) -> None:
    first, again = simulate("city", 7), simulate("city", 7)
    other = simulate("city", 7, recorder="computer", sampling_s=4.0, units="mi")
    written = first.write(tmp_path / "a").read_bytes()
    assert written == again.write(tmp_path / "b").read_bytes()
    np.testing.assert_array_equal(first.truth.battery_w, other.truth.battery_w)
    assert simulate("city", 8).truth.total_wh != first.truth.total_wh


def test_fit_reads_back(mountain: SimulatedRide, tmp_path: Path) -> None:
    path = mountain.write(tmp_path, format="fit")
    with fitdecode.FitReader(
        path,
        check_crc=fitdecode.CrcCheck.RAISE,
        error_handling=fitdecode.ErrorHandling.RAISE,
    ) as reader:
        messages = [m for m in reader if isinstance(m, fitdecode.FitDataMessage)]
    records = [m for m in messages if m.name == "record"]
    track: RecordedTrack = mountain.track
    assert len(records) == track.time_unix_s.size
    times = [m.get_value("timestamp").timestamp() for m in records]
    np.testing.assert_array_equal(times, track.time_unix_s)
    degrees = np.array([m.get_value("position_lat") for m in records]) * 180.0 / 2**31
    np.testing.assert_allclose(degrees, track.lat_deg, atol=1e-7)
    heights = [m.get_value("altitude") for m in records]
    np.testing.assert_allclose(heights, track.height_m, atol=0.11)
    distances = [m.get_value("distance") for m in records]
    np.testing.assert_allclose(distances, track.distance_m, atol=0.006)
    starts = [m for m in messages if m.name == "event" and m.get_value("event_type") == "start"]
    assert len(starts) == track.piece.max() + 1


def test_crc_is_that_of_fit_files() -> None:
    # The customary check value of CRC-16/ARC.
    assert crc16(b"123456789") == 0xBB3D


def test_gpx_reads_back(mountain: SimulatedRide, tmp_path: Path) -> None:
    path = mountain.write(tmp_path)
    segments = gpxpy.parse(path.read_text(encoding="utf-8")).tracks[0].segments
    assert len(segments) == mountain.track.piece.max() + 1
    points = [point for segment in segments for point in segment.points]
    times = [point.time.timestamp() for point in points if point.time]
    np.testing.assert_array_equal(times, mountain.track.time_unix_s)
    np.testing.assert_allclose([p.elevation for p in points], mountain.track.height_m, atol=0.051)


def test_side_files_lie_within_the_ride(mountain: SimulatedRide, tmp_path: Path) -> None:
    path = mountain.write(tmp_path, recharge=True)
    sheet = tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8"))
    assert sheet["recharge"]["wall_energy_wh"] > mountain.truth.total_wh
    assert "mass_lb" in sheet["rider"]
    end_mi = mountain.track.distance_m[-1] / 1_609.344
    for suffix in (".readings.csv", ".surface.csv"):
        rows = (tmp_path / f"{path.stem}{suffix}").read_text(encoding="utf-8").splitlines()[1:]
        places_mi = [float(row.split(" mi")[0].split(",")[0]) for row in rows]
        assert places_mi == sorted(places_mi)
        assert places_mi[-1] <= end_mi


def test_tile_reads_back_at_a_node(tmp_path: Path) -> None:
    path = write_tile(tmp_path, zipped=True)
    with zipfile.ZipFile(path) as archive:
        heights = np.frombuffer(archive.read("N44W030.hgt"), dtype=">i2").reshape(1201, 1201)
    row, column = 560, 640  # counted from the north-west corner
    lat_deg, lon_deg = np.array([45.0 - row / 1200.0]), np.array([-30.0 + column / 1200.0])
    ground_m = terrain_m(*to_plane(lat_deg, lon_deg))[0]
    assert ground_m > 20.0
    assert abs(heights[row, column] - ground_m) < 15.0
    assert heights[0, 0] == heights[-1, -1] == 0
    assert path.read_bytes() == write_tile(tmp_path / "again", zipped=True).read_bytes()


def test_bridges_stand_above_the_tile() -> None:
    truth = simulate("commuter", 3).truth
    bridge = truth.bridges[0]
    middle = int(np.searchsorted(truth.course_m, 0.5 * (bridge.start_m + bridge.end_m)))
    x_m, y_m = to_plane(truth.lat_deg[[middle]], truth.lon_deg[[middle]])
    assert truth.height_m[middle] - terrain_m(x_m, y_m)[0] > 0.5 * bridge.rise_m


def test_plane_and_globe_agree() -> None:
    lat_deg, lon_deg = to_geographic(np.array([9_000.0]), np.array([-7_000.0]))
    x_m, y_m = to_plane(lat_deg, lon_deg)
    np.testing.assert_allclose([x_m[0], y_m[0]], [9_000.0, -7_000.0], atol=1e-6)
    assert not tile_heights().flags.writeable


def test_unknown_choices_are_errors(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="commuter"):
        simulate("seaside", 1)
    with pytest.raises(ValueError, match="sheet"):
        simulate("city", 1).write(tmp_path, side_files=["map"])
    with pytest.raises(ValueError, match="gpx"):
        simulate("city", 1).write(tmp_path, format="kml")
