"""Speed along a course, against closed forms of even acceleration and of the road-load balance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.allocate.builders import values_of
from tests.outlook.builders import (
    CONFIG,
    STRONG,
    at_speed,
    driven,
    in_the_middle,
    speed_at,
    straight,
)
from wherewatt.allocate.loads import CAUSES, leg_loads
from wherewatt.outlook.motor import Cell, Limits, pass_through
from wherewatt.outlook.settings import Pace

G = 9.80665


@pytest.mark.parametrize(
    ("vehicle", "speed_kmh", "wh_per_km"),
    [
        ((100.0, 0.60, 0.012, 0.75, 5.0), 25.0, 11.12251),
        ((100.0, 0.60, 0.012, 0.75, 5.0), 15.0, 7.05488),
        ((110.0, 0.55, 0.006, 0.75, 5.0), 25.0, 8.61418),
        ((100.0, 0.65, 0.015, 0.80, 10.0), 40.0, 22.42403),
    ],
)
def test_consumption_at_constant_speed(
    vehicle: tuple[float, float, float, float, float], speed_kmh: float, wh_per_km: float
) -> None:
    # Closed form, still air of 1.225 kg/m³; the road before and after is for starting and braking.
    mass, area, crr, efficiency, auxiliary = vehicle
    values = {
        "mass_kg": mass,
        "drag_area_m2": area,
        "rolling_resistance": crr,
        "drivetrain_efficiency": efficiency,
        "auxiliary_w": auxiliary,
    }
    ridden = driven(straight(4000.0), at_speed(speed_kmh), **values)
    loads = leg_loads(ridden.legs, values_of(**values))
    assert in_the_middle(ridden, loads.battery_j) / 3600.0 / 2.0 == pytest.approx(
        wh_per_km, abs=1e-5
    )


def test_power_at_constant_speed() -> None:
    # Closed form: 278.0628 W from the battery at 25 km/h.
    values = {"drivetrain_efficiency": 0.75, "auxiliary_w": 5.0}
    ridden = driven(straight(4000.0), at_speed(25.0), **values)
    loads = leg_loads(ridden.legs, values_of(**values))
    power = in_the_middle(ridden, loads.battery_j) / in_the_middle(ridden, ridden.legs.time_s)
    assert power == pytest.approx(278.0628, abs=1e-4)


def test_out_and_back_in_the_wind() -> None:
    """Mean of (v+w)² and (v−w)² is v² + w²: wind costs ½ρ·CdA·w² on average."""
    wind, way = 4.0, 2000.0
    values = {"wind_north_m_s": -wind, "rolling_resistance": 0.03}
    ridden = driven(straight(way).lap(), at_speed(25.0), **values)
    causes = leg_loads(ridden.legs, values_of(**values)).causes
    # Between start and stop the speed differs: the identity needs v > w, which a start has not.
    held = np.isclose(ridden.legs.speed_m_s, 25.0 / 3.6)
    per_metre = causes[CAUSES.index("wind")][held].sum() / ridden.legs.distance_m[held].sum()
    assert per_metre == pytest.approx(0.5 * 1.225 * 0.60 * wind**2, rel=1e-9)


def test_time_of_start_cruise_and_braking() -> None:
    """v/a + v/b for start and braking, and the rest of the way at v: even acceleration."""
    pace, length = at_speed(25.0), 2000.0
    v, a, b = pace.top_speed_m_s, pace.acceleration_m_s2, pace.deceleration_m_s2
    cruise_m = length - v**2 / 2.0 / a - v**2 / 2.0 / b
    ridden = driven(straight(length), pace)
    assert ridden.duration_s == pytest.approx(v / a + v / b + cruise_m / v, rel=1e-12)
    assert ridden.legs.distance_m.sum() == pytest.approx(length)
    assert ridden.legs.square_speed_change.sum() == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("apart_m", [4.0, 17.0, 30.0, 55.0])
def test_stops_nearer_than_a_start_and_braking(apart_m: float) -> None:
    """The peak between two stops is √(2·L·a·b/(a+b)), its time v/a + v/b: even acceleration."""
    pace = at_speed(40.0)
    a, b = pace.acceleration_m_s2, pace.deceleration_m_s2
    peak = np.sqrt(2.0 * apart_m * a * b / (a + b))
    assert peak < pace.top_speed_m_s
    ridden = driven(straight(1000.0, stops_m=(400.0, 400.0 + apart_m)), pace)
    between = (ridden.at_m >= 400.0 - 1e-9) & (ridden.at_m <= 400.0 + apart_m + 1e-9)
    assert ridden.speed_m_s[between].max() == pytest.approx(peak, rel=1e-9)
    first, last = np.flatnonzero(between)[[0, -1]]
    passed = ridden.time_s[last] - ridden.time_s[first]
    assert passed == pytest.approx(2.0 * pace.stop_s + peak / a + peak / b, rel=1e-9)


def test_stops_stand_and_count() -> None:
    ridden = driven(straight(2000.0).with_stops(2.0))
    legs = ridden.legs
    assert (~legs.moving).sum() == 4
    assert legs.time_s[~legs.moving] == pytest.approx(STRONG.stop_s)
    assert legs.powered_s.sum() == pytest.approx(ridden.duration_s)
    assert legs.distance_m[~legs.moving].sum() == 0.0
    assert speed_at(ridden, 250.0) == 0.0


def climbing(power_w: float) -> Pace:
    return replace(at_speed(25.0), wheel_power_w=power_w, wheel_force_n=400.0)


@pytest.mark.parametrize("grade", [0.03, 0.06, 0.10])
def test_power_on_a_climb_is_the_limit(grade: float) -> None:
    """Far up an even climb P = v·(roll + weight + ½ρ·CdA·v²), the road-load balance."""
    power = 300.0
    ridden = driven(straight(4000.0, grade=grade), climbing(power), rolling_resistance=0.012)
    speed = speed_at(ridden, 3000.0)
    cosine = np.cos(np.arctan(grade))
    force = 100.0 * G * (0.012 * cosine + grade) + 0.5 * 1.225 * 0.60 * speed**2
    assert speed * force == pytest.approx(power, rel=1e-4)
    assert speed < 25.0 / 3.6
    assert ridden.pushed_m == 0.0


def test_no_leg_takes_more_than_the_motor_has() -> None:
    """Work at the wheel over time, wherever the vehicle drives: starts, hills, wind."""
    course = straight(3000.0, stops_m=(1000.0,))
    course = replace(course, height_m=15.0 * np.sin(course.edge_m / 150.0))
    pace = replace(climbing(350.0), coast_share=1.2)
    values = {"wind_north_m_s": -5.0, "rolling_resistance": 0.015}
    ridden = driven(course, pace, **values)
    causes = leg_loads(ridden.legs, values_of(**values)).causes
    work = causes[:5].sum(axis=0)
    moving = ridden.legs.moving
    power = work[moving] / ridden.legs.time_s[moving]
    force = work[moving] / ridden.legs.distance_m[moving]
    assert power.max() <= 350.0 * 1.01
    assert force.max() <= 400.0 * 1.01
    rate = ridden.legs.square_speed_change[moving] / 2.0 / ridden.legs.distance_m[moving]
    assert rate.max() <= pace.acceleration_m_s2 * (1.0 + 1e-9)
    assert rate.min() >= -pace.deceleration_m_s2 * (1.0 + 1e-9)
    assert ridden.speed_m_s.max() <= 1.2 * pace.top_speed_m_s * (1.0 + 1e-9)


def test_too_steep_is_pushed() -> None:
    ridden = driven(straight(1000.0, grade=0.4), climbing(100.0))
    assert ridden.pushed_m > 900.0
    assert speed_at(ridden, 500.0) == pytest.approx(STRONG.walk_m_s)


def test_a_descent_carries_no_farther_than_is_let() -> None:
    pace = replace(at_speed(25.0), coast_share=1.2)
    steep = driven(straight(2000.0, grade=-0.08), pace)
    assert speed_at(steep, 1000.0) == pytest.approx(1.2 * 25.0 / 3.6)
    flat = driven(straight(2000.0), pace)
    assert speed_at(flat, 1000.0) == pytest.approx(25.0 / 3.6)


def test_free_rolling_is_the_closed_form_of_a_coast_down() -> None:
    """s = m/2c·ln((a + c·v₀²)/(a + c·v₁²)): 30 to 10 km/h in 129.453703 m without turning masses.

    Published closed form of coasting, for 101.5 kg of which 1.5 kg turn: here all of it is mass,
    so a is that of 100 kg. The rider comes down to a slower surface without braking.
    """
    mass, turning = 100.0, 1.5
    steady, drag = 0.012 * mass * G, 0.5 * 1.225 * 0.6
    entry, way = (30.0 / 3.6) ** 2, 129.453703
    limits = Limits.of(replace(STRONG, walk_m_s=0.1), values_of(mass_kg=mass), turning)
    cells = 2000
    square = entry
    for _ in range(cells):
        cell = Cell(way / cells, 0.2, 30.0, steady, drag, 0.0)
        square = pass_through(cell, limits, square, 1e9).knots[-1].square
    assert 3.6 * np.sqrt(square) == pytest.approx(10.0, abs=0.02)


def test_bends_slow_down() -> None:
    course = straight(1000.0)
    heading = np.where(course.edge_m[:-1] < 500.0, 0.0, np.pi / 2.0)
    ridden = driven(replace(course, heading_rad=heading), replace(STRONG, sideways_m_s2=2.0))
    radius = 20.0 / (np.pi / 2.0)  # a quarter turn from the middle of one cell to that of the next
    assert speed_at(ridden, 500.0) == pytest.approx(np.sqrt(2.0 * radius))


def test_surfaces_slow_down() -> None:
    course = straight(2000.0, surface="sand")
    ridden = driven(course, replace(STRONG, slower_on={"sand": 0.5}), **{"surface_ratio.sand": 9.0})
    assert speed_at(ridden, 1000.0) == pytest.approx(0.5 * STRONG.top_speed_m_s)


def test_cells_hardly_matter() -> None:
    """Cells a quarter as long give the same time and energy to a thousandth."""
    course = straight(4000.0)
    course = replace(course, height_m=12.0 * np.sin(course.edge_m / 150.0))
    pace = replace(CONFIG.pace, wheel_power_w=300.0)
    fine = course.cut_at(np.arange(5.0, 4000.0, 5.0))
    rides = [driven(each.with_stops(1.0), pace) for each in (course, fine)]
    energy = [leg_loads(ride.legs, values_of()).battery_j.sum() for ride in rides]
    assert rides[0].duration_s == pytest.approx(rides[1].duration_s, rel=2e-3)
    assert energy[0] == pytest.approx(energy[1], rel=2e-3)
