"""Vehicles known exactly, and rides cut short, for tests of turning back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.allocate.builders import values_of
from tests.outlook.builders import CONFIG, STRONG
from tests.support.simulator import SimulatedRide, simulate
from wherewatt.allocate.parameters import Parameter, Parameters
from wherewatt.allocate.settings import Prior, PriorKind
from wherewatt.config import Config
from wherewatt.ingest.sheet import VehicleSheet, WeatherSheet
from wherewatt.outlook.asked import Request
from wherewatt.outlook.course import Course
from wherewatt.outlook.vehicle import Day, Known, Vehicle, find_vehicle
from wherewatt.physics import air
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

# At the wheel, so that start and braking take no way: the closed forms know of none.
SUDDEN = replace(
    STRONG, acceleration_m_s2=1e5, deceleration_m_s2=1e5, wheel_power_w=1e12, wheel_force_n=1e12
)


def exactly(**values: float) -> Known:
    """A vehicle of which everything is known exactly, without losses if not said otherwise."""
    all_values = values_of(**values)
    items = tuple(
        Parameter(name, Prior(PriorKind.LINEAR, value, 1.0, "", "made up"))
        for name, value in all_values.items()
    )
    p = len(items)
    return Known(
        vehicle=Vehicle("made up", VehicleSheet(), None, ()),
        day=Day(weather=light_air()),
        parameters=Parameters(items),
        scores=np.zeros(p),
        covariance=np.zeros((p, p)),
    )


def light_air() -> WeatherSheet:
    """Dry air of 15 °C, of a pressure at which it has the 1.225 kg/m³ of the closed forms."""
    at_sea_level = float(air.density(15.0, 101325.0, humidity=0.0))
    pressure_hpa = 1013.25 * 1.225 / at_sea_level
    return WeatherSheet(temperature_c=15.0, pressure_hpa=pressure_hpa, humidity_pct=0.0)


def without_stretches() -> Config:
    """Settings in which no stretch differs from another, and wheels have no inertia."""
    estimate = replace(
        CONFIG.estimate, stretch_spread=0.0, untagged_spread=0.0, shelter_spread_s_m=0.0
    )
    assumed = replace(CONFIG.assumed, rotating_mass_kg=0.0)
    return replace(CONFIG, estimate=estimate, assumed=assumed)


def request_of(course: Course, **changed: object) -> Request:
    """A handbook scooter with a stated pack on a calm day."""
    vehicle = find_vehicle("e-scooter", None, CONFIG)
    sheet = replace(vehicle.sheet, battery_nominal_wh=400.0)
    asked = Request(
        vehicle=replace(vehicle, sheet=sheet),
        day=Day(80.0, WeatherSheet(temperature_c=20.0, wind_speed_m_s=0.0, wind_from_deg=0.0)),
        course=course,
        to_the_end=True,
        pace=CONFIG.pace,
        battery_pct=None,
        reserve_pct=10.0,
    )
    return replace(asked, **changed)  # type: ignore[arg-type]


def cut_short(folder: Path, at_share: float, *, start_pct: float | None = None) -> RideResult:
    """A simulated ride out and back of which only the first part is recorded yet.

    Parameters
    ----------
    at_share : of its duration.
    start_pct : charge at the start in place of the true one, by shifting all call-outs [%].
    """
    sim = simulate("windy", 3, garage=3)
    return analyse(_written(sim, folder, at_share, start_pct), TileFolder((folder,)), CONFIG)


def _written(sim: SimulatedRide, folder: Path, at_share: float, start_pct: float | None) -> Path:
    truth = sim.truth
    until_s = at_share * float(truth.time_s[-1])
    keep = np.flatnonzero(sim.track.time_unix_s - truth.start_unix_s <= until_s)
    shift = 0.0 if start_pct is None else start_pct - sim.call_outs[0].battery_pct
    spoken = tuple(
        replace(one, battery_pct=round(max(0.0, one.battery_pct + shift)))
        for one in sim.call_outs
        if one.time_s <= until_s - 60.0
    )
    sim.write_tile(folder, 3)
    part = replace(sim, track=sim.track.take(keep), call_outs=spoken)
    return part.write(folder, stem="so_far", side_files=("readings", "sheet"))
