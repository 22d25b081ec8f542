"""Legs, rides and evidence made by hand, so that a test can say exactly what was ridden."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.motion.builders import plain_ride
from wherewatt.allocate.callouts import ShownPercent
from wherewatt.allocate.estimate import Evidence
from wherewatt.allocate.loads import Legs
from wherewatt.allocate.parameters import Parameters, ride_parameters
from wherewatt.allocate.voltage import ShownVoltage, no_voltage, voltage_parameters
from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.ingest.sheet import RechargeSheet, RiderSheet, RideSheet, VehicleSheet
from wherewatt.motion.ride import Ride
from wherewatt.physics.battery import cell_of
from wherewatt.sections.cutting import Sections

CONFIG = load_config()
RIDE_OF_AN_HOUR = plain_ride(duration_s=3600.0)
SHEET = RideSheet(
    vehicle=VehicleSheet(mass_kg=18.0, battery_usable_wh=400.0), rider=RiderSheet(mass_kg=80.0)
)


def make_legs(
    speed_m_s: FloatArray,
    *,
    distance_m: FloatArray | None = None,
    rise_m: FloatArray | None = None,
    square_speed_change: FloatArray | None = None,
    heading_rad: FloatArray | None = None,
    density_kg_m3: float = 1.225,
    surface: Sequence[int] | None = None,
    surfaces: tuple[str, ...] = ("asphalt",),
    rotating_mass_kg: float = 0.0,
) -> Legs:
    """Legs at given speeds, 1 s long where nothing else is said."""
    n = len(speed_m_s)
    zeros = np.zeros(n)
    way = speed_m_s.copy() if distance_m is None else distance_m
    time = np.ones(n) if distance_m is None else distance_m / speed_m_s
    return Legs(
        time_s=time,
        distance_m=way,
        speed_m_s=speed_m_s,
        rise_m=zeros if rise_m is None else rise_m,
        square_speed_change=zeros if square_speed_change is None else square_speed_change,
        heading_rad=zeros if heading_rad is None else heading_rad,
        density_kg_m3=np.full(n, density_kg_m3),
        moving=speed_m_s > 0,
        powered_s=time,
        rider_j=zeros,
        surface=np.array([0] * n if surface is None else surface, dtype=np.intp),
        surfaces=surfaces,
        rotating_mass_kg=rotating_mass_kg,
    )


def values_of(**changed: float) -> dict[str, float]:
    """Parameter values of a plain vehicle without losses, some of them changed."""
    return {
        "mass_kg": 100.0,
        "rolling_resistance": 0.012,
        "drag_area_m2": 0.60,
        "drivetrain_efficiency": 1.0,
        "fixed_loss_w": 0.0,
        "winding_loss_w_n2": 0.0,
        "auxiliary_w": 0.0,
        "unsteadiness_m_s2": 1e-12,
        "surface_ratio.asphalt": 1.0,
        "wind_east_m_s": 0.0,
        "wind_north_m_s": 0.0,
        **changed,
    }


def whole_section(ride: Ride) -> Sections:
    """A ride that is one section."""
    label = np.zeros(len(ride.standing), dtype=np.intp)
    return Sections(ride, label, ("flat",), ("steady",), ("asphalt",), ("",))


def section_every(ride: Ride, length_m: float) -> Sections:
    """A ride cut into sections of equal length."""
    middle = (ride.distance_m[1:] + ride.distance_m[:-1]) / 2.0
    label = np.unique(np.floor(middle / length_m), return_inverse=True)[1]
    count = int(label[-1]) + 1
    return Sections(
        ride, label, ("flat",) * count, ("steady",) * count, ("asphalt",) * count, ("",) * count
    )


def legs_of(ride: Ride, height_m: FloatArray | None = None) -> Legs:
    """Legs of a ride over asphalt at the given heights (level if none)."""
    heights = np.zeros(len(ride.time_s)) if height_m is None else height_m
    return Legs(
        time_s=ride.leg_time_s,
        distance_m=ride.leg_distance_m,
        speed_m_s=ride.leg_speed_m_s,
        rise_m=np.diff(heights),
        square_speed_change=np.diff(np.square(ride.speed_m_s)),
        heading_rad=ride.heading_rad,
        density_kg_m3=np.full(len(ride.standing), 1.2),
        moving=~ride.standing,
        powered_s=ride.leg_time_s,
        rider_j=np.zeros(len(ride.standing)),
        surface=np.zeros(len(ride.standing), dtype=np.intp),
        surfaces=("asphalt",),
        rotating_mass_kg=CONFIG.assumed.rotating_mass_kg,
    )


def make_shown(
    ride: Ride, time_s: FloatArray, percent: FloatArray, *, resting: bool = True
) -> ShownPercent:
    """Call-outs at times that are points of the ride."""
    return ShownPercent(
        time_s=time_s,
        distance_m=np.interp(time_s, ride.time_s, ride.distance_m),
        percent=percent,
        resting=np.full(len(time_s), resting),
    )


def make_voltage(
    ride: Ride,
    time_s: FloatArray,
    volts: FloatArray,
    *,
    resting: bool = True,
    cells_in_series: int = 10,
    level_known: bool = True,
) -> ShownVoltage:
    """Call-outs of voltage at times that are points of the ride."""
    return ShownVoltage(
        time_s=time_s,
        distance_m=np.interp(time_s, ride.time_s, ride.distance_m),
        volts=volts,
        resting=np.full(len(time_s), resting),
        cells_in_series=cells_in_series,
        level_known=level_known,
    )


def make_evidence(
    ride: Ride | None = None,
    *,
    shown: ShownPercent | None = None,
    voltage: ShownVoltage | None = None,
    recharge: RechargeSheet | None = None,
    sheet: RideSheet = SHEET,
    height_m: FloatArray | None = None,
    section_m: float = 1000.0,
) -> Evidence:
    """Evidence of a plain ride; without call-outs and recharge if none are given."""
    ride = plain_ride() if ride is None else ride
    recharge = RechargeSheet() if recharge is None else recharge
    voltage = no_voltage() if voltage is None else voltage
    sections = section_every(ride, section_m)
    edges = len(sections) + 1
    nothing = np.empty(0)
    parameters = ride_parameters(
        replace(sheet, recharge=recharge),
        ("asphalt",),
        priors=CONFIG.priors,
        surface_priors=CONFIG.surfaces,
        assumed=CONFIG.assumed,
        settings=CONFIG.estimate,
        pedalling_unknown=False,
    )
    of_voltage = voltage_parameters(voltage, sheet, priors=CONFIG.priors, assumed=CONFIG.assumed)
    return Evidence(
        sections=sections,
        legs=legs_of(ride, height_m),
        wind_speed_m_s=0.0,
        parameters=Parameters((*parameters.items, *of_voltage)),
        height_covariance=0.25 * np.eye(edges) + 0.25,
        shown=make_shown(ride, nothing, nothing) if shown is None else shown,
        recharge=recharge,
        settings=CONFIG.estimate,
        voltage=voltage,
        cell=cell_of(sheet.vehicle.battery_chemistry),
    )
