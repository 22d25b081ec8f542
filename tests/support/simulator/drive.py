"""Drive a vehicle along a course, step by step, and log every true force.

The rider decides an acceleration; resistance and the motor's limits decide whether it comes
about; the step is then balanced exactly, so that for every step

    battery = rolling + air + gravity + kinetic + brake + motor loss + auxiliary

where *gravity* and *kinetic* are changes of stored energy and may be negative, *brake* (friction
and the drag of an unpowered motor) and *motor loss* (which includes the loss of recovering) are
never negative, and *battery* is negative while charge comes back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .course import STEP_M, Course, Stop
from .noise import FloatArray, ou_at
from .surfaces import SURFACE_NAMES, SURFACES
from .vehicle import Style, Vehicle
from .wind import Weather

DT_S = 0.2
G_M_S2 = 9.80665
WARM_UP_SHARE = 0.15
"""A cold tyre rolls this much harder; it warms with a time constant of six minutes."""
WARM_UP_S = 360.0
LONGEST_S = 4.0 * 3600.0
COLUMNS = (
    "rolling_w", "air_w", "gravity_w", "kinetic_w", "brake_w", "motor_loss_w", "aux_w",
    "battery_w", "headwind_m_s",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class DriveLog:
    """What happened, at n + 1 instants and over the n steps between them.

    Attributes
    ----------
    time_s, course_m, distance_m, speed_m_s : array, shape (n + 1,)
        Time since the start; distance along the map and along the road surface; road speed.
    steps : dict of array, shape (n,)
        Mean powers of each step [W] and the headwind at rider height [m/s], by `COLUMNS`.
    stops : list of (float, float, Stop)
        When the vehicle stood and for which stop: start and end [s].
    """

    time_s: FloatArray
    course_m: FloatArray
    distance_m: FloatArray
    speed_m_s: FloatArray
    steps: dict[str, FloatArray]
    stops: list[tuple[float, float, Stop]]


class _Road:
    """The course as plain lists, as this vehicle and rider meet it."""

    def __init__(
        self, course: Course, vehicle: Vehicle, style: Style, rng: np.random.Generator
    ) -> None:
        grade = np.diff(course.height_m) / STEP_M
        self.height_m: list[float] = course.height_m.tolist()
        self.cos_slope: list[float] = (1.0 / np.hypot(1.0, grade)).tolist()
        # Two stretches of "the same" surface are never quite the same.
        patchy = 1.0 + ou_at(rng, course.course_m, 300.0, 0.06)
        self.crr: list[float] = (np.array(vehicle.crr)[course.surface] * patchy).tolist()
        per_surface = [SURFACES[name] for name in SURFACE_NAMES]
        rough = np.array([s.roughness_per_s for s in per_surface])[course.surface]
        self.roughness_per_s: list[float] = (rough * patchy).tolist()
        self.shelter: list[float] = course.shelter.tolist()
        self.east: list[float] = course.east.tolist()
        self.north: list[float] = course.north.tolist()
        wished = vehicle.cruise_m_s * np.array([s.speed_factor for s in per_surface])
        bend = np.sqrt(style.sideways_m_s2 / np.maximum(course.curvature_per_m, 1e-4))
        self.allowed_m_s = _brake_in_time(
            np.minimum(wished[course.surface] * 1.15, np.maximum(bend, 2.0)), style.brake_m_s2
        )
        self.wished_m_s: list[float] = wished[course.surface].tolist()

    def height_at(self, course_m: float) -> float:
        cell = min(int(course_m / STEP_M), len(self.height_m) - 2)
        part = course_m / STEP_M - cell
        return self.height_m[cell] + (self.height_m[cell + 1] - self.height_m[cell]) * part


def _brake_in_time(limit_m_s: FloatArray, brake_m_s2: float) -> list[float]:
    """Lower speed limits ahead of a slower place so that braking gently suffices."""
    limits = limit_m_s.tolist()
    for i in range(len(limits) - 2, -1, -1):
        limits[i] = min(limits[i], math.sqrt(limits[i + 1] ** 2 + 2.0 * brake_m_s2 * STEP_M))
    return limits


class _Drive:
    """The state of a drive and the laws that move it on."""

    def __init__(
        self,
        course: Course,
        vehicle: Vehicle,
        style: Style,
        weather: Weather,
        rng: np.random.Generator,
    ) -> None:
        self.road = _Road(course, vehicle, style, rng)
        self.vehicle, self.style = vehicle, style
        seconds = np.arange(0.0, LONGEST_S, 2.0)
        self.wander: list[float] = (1.0 + ou_at(rng, seconds, 40.0, style.wander)).tolist()
        posture = 1.0 + ou_at(rng, seconds, 60.0, style.posture)
        self.drag_area_m2: list[float] = (vehicle.drag_area_m2 * posture).tolist()
        self.wind_east: list[float] = weather.east_m_s.tolist()
        self.wind_north: list[float] = weather.north_m_s.tolist()
        self.density_kg_m3 = weather.density_kg_m3
        self.start_height_m = self.road.height_m[0]
        self.inertia_kg = vehicle.total_mass_kg * (1.0 + vehicle.rotating_share)
        self.time_s = self.moving_s = self.course_m = self.distance_m = self.speed_m_s = 0.0

    def rolling_n(self, cell: int, speed_m_s: float) -> float:
        """Rolling resistance with warm-up, and the drag of a rough road [N]."""
        road, mass_kg = self.road, self.vehicle.total_mass_kg
        cold = 1.0 + WARM_UP_SHARE * math.exp(-self.moving_s / WARM_UP_S)
        rolling = road.crr[cell] * cold * mass_kg * G_M_S2 * road.cos_slope[cell]
        return rolling + road.roughness_per_s[cell] * mass_kg * speed_m_s

    def air(self, cell: int, speed_m_s: float) -> tuple[float, float]:
        """Air drag along the road [N] and headwind [m/s], with the cross wind's part in both."""
        road, second = self.road, int(self.time_s)
        east, north, shelter = road.east[cell], road.north[cell], road.shelter[cell]
        wind_east = self.wind_east[second] * shelter
        wind_north = self.wind_north[second] * shelter
        headwind = -(wind_east * east + wind_north * north)
        crosswind = wind_east * north - wind_north * east
        along = speed_m_s + headwind
        climbed_m = road.height_m[cell] - self.start_height_m
        density = self.density_kg_m3 * math.exp(-climbed_m / 10_000.0)
        drag_area = self.drag_area_m2[second // 2]
        return 0.5 * density * drag_area * math.hypot(along, crosswind) * along, headwind

    def wanted_m_s2(self, cell: int, stop_in_m: float, coast_m_s2: float) -> float:
        """Acceleration the rider asks for; rolling freely (`coast_m_s2`) where that will do."""
        style, road, speed = self.style, self.road, self.speed_m_s
        before_stop = math.sqrt(2.0 * style.brake_m_s2 * max(stop_in_m - 0.3, 0.0))
        hard = min(road.allowed_m_s[cell], before_stop)
        aim = min(road.wished_m_s[cell] * self.wander[int(self.time_s) // 2], hard)
        if not self.vehicle.coasts:
            return max((aim - speed) / 0.8, -2.5)
        if speed <= aim:
            return max(min((aim - speed) / 1.5, style.accelerate_m_s2), coast_m_s2)
        tolerated = min(hard, style.let_run * aim)
        if speed <= tolerated:
            return coast_m_s2
        return min(coast_m_s2, max((tolerated - speed) / 0.6, -3.0))

    def step(self, stop_in_m: float) -> tuple[float, ...]:
        """Move on by one step and return its row of `COLUMNS`."""
        road, vehicle, speed = self.road, self.vehicle, self.speed_m_s
        cell = min(int(self.course_m / STEP_M), len(road.height_m) - 2)
        grade_n = (
            vehicle.total_mass_kg
            * G_M_S2
            * (road.height_m[cell + 1] - road.height_m[cell])
            / STEP_M
            * road.cos_slope[cell]
        )
        resistance_n = self.rolling_n(cell, speed) + self.air(cell, speed)[0] + grade_n
        limit_n = vehicle.force_limit_n(speed)
        if speed < 1.2:  # a stalling rider kicks or walks along: nobody stays stuck on a hill
            limit_n = max(limit_n, resistance_n + 0.15 * vehicle.total_mass_kg)
        coast = -(resistance_n + vehicle.motor_drag_n) / self.inertia_kg
        ask = self.wanted_m_s2(cell, stop_in_m, coast)
        ask = min(ask, (limit_n - resistance_n) / self.inertia_kg)
        return self._balance(cell, max(0.0, speed + ask * DT_S))

    def _balance(self, cell: int, new_speed: float) -> tuple[float, ...]:
        """Do the step at a settled speed; what the balance leaves over is motor or brakes."""
        road, vehicle = self.road, self.vehicle
        mean = 0.5 * (self.speed_m_s + new_speed)
        moved_m = mean * DT_S
        new_course_m = self.course_m + moved_m * road.cos_slope[cell]
        rise_m = road.height_at(new_course_m) - road.height_at(self.course_m)
        rolling_w = self.rolling_n(cell, mean) * mean
        air_n, headwind = self.air(cell, mean)
        air_w = air_n * mean
        gravity_w = vehicle.total_mass_kg * G_M_S2 * rise_m / DT_S
        kinetic_w = 0.5 * self.inertia_kg * (new_speed**2 - self.speed_m_s**2) / DT_S
        wheel_w = rolling_w + air_w + gravity_w + kinetic_w
        brake_w, motor_w = self._power(wheel_w, mean)
        self.time_s += DT_S
        self.moving_s += DT_S
        self.course_m, self.speed_m_s = new_course_m, new_speed
        self.distance_m += moved_m
        loss_w = motor_w - wheel_w - brake_w
        return (
            rolling_w, air_w, gravity_w, kinetic_w, brake_w, loss_w, vehicle.aux_w,
            motor_w + vehicle.aux_w, headwind,
        )  # fmt: skip

    def _power(self, wheel_w: float, speed_m_s: float) -> tuple[float, float]:
        """Share the wheel's need: power into the brakes, and power into the motor (or out)."""
        vehicle = self.vehicle
        if speed_m_s < 1e-6:
            return max(0.0, -wheel_w), max(0.0, wheel_w)
        force_n = wheel_w / speed_m_s
        if force_n > 0.0:
            return 0.0, vehicle.drive_input_w(force_n, speed_m_s)
        held_n = -force_n
        regen_n = min(max(0.0, held_n - vehicle.motor_drag_n), vehicle.regen_limit_n(speed_m_s))
        returned_w = vehicle.regen_output_w(regen_n, speed_m_s)
        if returned_w == 0.0:
            regen_n = 0.0
        return (held_n - regen_n) * speed_m_s, -returned_w

    def halt(self) -> tuple[float, ...]:
        """Take the last crawl out of the vehicle in one step: the brakes get it."""
        return self._balance(min(int(self.course_m / STEP_M), len(self.road.height_m) - 2), 0.0)

    def stand(self) -> tuple[float, ...]:
        """Stand still for one step."""
        self.time_s += DT_S
        aux_w = self.vehicle.aux_w
        return 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, aux_w, aux_w, 0.0


def drive(
    course: Course,
    vehicle: Vehicle,
    style: Style,
    weather: Weather,
    rng: np.random.Generator,
) -> DriveLog:
    """Drive a course from its first stop to its last.

    Parameters
    ----------
    course, vehicle, style, weather
        The world as it truly is.
    rng : numpy.random.Generator
        Source of randomness: road patches, wandering speed, shifting posture.

    Returns
    -------
    DriveLog

    Raises
    ------
    RuntimeError
        If the drive takes longer than `LONGEST_S`: the draw was not a rideable one.
    """
    state = _Drive(course, vehicle, style, weather, rng)
    points: list[tuple[float, float, float, float]] = [(0.0, 0.0, 0.0, 0.0)]
    rows: list[tuple[float, ...]] = []
    stops: list[tuple[float, float, Stop]] = []

    def log(row: tuple[float, ...]) -> None:
        rows.append(row)
        points.append((state.time_s, state.course_m, state.distance_m, state.speed_m_s))

    for stop in course.stops:
        while stop.course_m - state.course_m > 0.5 or state.speed_m_s > 0.4:
            log(state.step(stop.course_m - state.course_m))
            if state.time_s > LONGEST_S - 600.0:
                raise RuntimeError(f"drive not finished after {state.time_s:.0f} s")
        if state.speed_m_s > 0.0:
            log(state.halt())
        began_s = state.time_s
        for _ in range(round(stop.wait_s / DT_S)):
            log(state.stand())
        stops.append((began_s, state.time_s, stop))
    return _as_log(points, rows, stops)


def _as_log(
    points: list[tuple[float, float, float, float]],
    rows: list[tuple[float, ...]],
    stops: list[tuple[float, float, Stop]],
) -> DriveLog:
    time_s, course_m, distance_m, speed_m_s = np.array(points).T
    table: NDArray[np.float64] = np.array(rows)
    steps = {name: table[:, i].copy() for i, name in enumerate(COLUMNS)}
    return DriveLog(time_s, course_m, distance_m, speed_m_s, steps, stops)
