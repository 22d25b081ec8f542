"""What may be asked for of a ride that nobody has ridden yet: options of two verbs."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.errors import InputError, Problem, nearest_name
from wherewatt.units import SUFFIXES

if TYPE_CHECKING:
    from collections.abc import Callable

    from wherewatt.config import Config
    from wherewatt.outlook.course import Course
    from wherewatt.outlook.settings import Pace
    from wherewatt.outlook.vehicle import Day, Vehicle


def add_conditions(verb: argparse.ArgumentParser) -> None:
    """Rider, pace, road, weather and pack."""
    add = verb.add_argument_group("conditions").add_argument
    for name, low, high, text in (
        ("--rider-kg", 1.0, 1000.0, "rider with kit (default: of its latest ride)"),
        ("--rider-lb", 2.2, 2200.0, "the same in pounds"),
        ("--top-speed-kmh", 1.0, 200.0, "speed held on a good level road"),
        ("--top-speed-mph", 0.6, 120.0, "the same in miles per hour"),
        ("--acceleration", 0.05, 5.0, "from a stop, in m/s²"),
        ("--stops-per-km", 0.0, 50.0, "spread evenly over the course"),
        ("--motor-w", 20.0, 100_000.0, "the most the motor gives at the wheel"),
        ("--wind-speed-m-s", 0.0, 60.0, "at 10 m above ground, as forecast"),
        ("--wind-speed-mph", 0.0, 130.0, "the same in miles per hour"),
        ("--wind-from-deg", 0.0, 360.0, "where the wind comes from, clockwise from north"),
        ("--temperature-c", -60.0, 60.0, "of the air"),
        ("--temperature-f", -76.0, 140.0, "the same in degrees Fahrenheit"),
        ("--battery", 0.0, 100.0, "what the display shows before setting out, in percent"),
        ("--battery-wh", 10.0, 100_000.0, "nominal energy of the pack, as on its label"),
        ("--reserve", 0.0, 99.0, "percent that are to be left"),
    ):
        add(name, type=_between(low, high), metavar="NUMBER", help=text)
    add("--surface", metavar="NAME", help="one surface all the way")
    add(
        "--reference",
        type=Path,
        metavar="FILE",
        help="TOML file with what is to be different in the shipped config/reference.toml",
    )


def _between(low: float, high: float) -> Callable[[str], float]:
    """A number within limits, ends included."""

    def number(text: str) -> float:
        value = float(text)
        if not low <= value <= high:
            expected = f"a number from {low:g} to {high:g}"
            raise argparse.ArgumentTypeError(f"found {text}, expected {expected}")
        return value

    return number


def asked_vehicle(options: argparse.Namespace, config: Config) -> Vehicle:
    """The vehicle that was named, with the pack that was stated."""
    from dataclasses import replace

    from wherewatt.library import Library
    from wherewatt.outlook.vehicle import find_vehicle

    library = Library(options.library) if options.library else None
    vehicle = find_vehicle(options.vehicle, library, config)
    if options.battery_wh is None:
        return vehicle
    return replace(vehicle, sheet=replace(vehicle.sheet, battery_nominal_wh=options.battery_wh))


def asked_course(options: argparse.Namespace, config: Config) -> Course:
    """The planned course, or the reference ride where there is none."""
    from wherewatt.outlook.plans import planned_course, reference_course
    from wherewatt.pipeline import open_tiles

    if options.course is None:
        course = reference_course(config.reference, config.outlook)
    else:
        course = planned_course(options.course, open_tiles(options.terrain), config)
    return with_surface(course, options, config)


def with_surface(course: Course, options: argparse.Namespace, config: Config) -> Course:
    """The course with the one surface that was asked for, if one was."""
    surface = options.surface
    if surface is None:
        return course
    if surface not in config.surfaces:
        mend = nearest_name(surface, config.surfaces)
        raise InputError(Problem("--surface", "", f"'{surface}'", "a known surface", mend))
    return course.on(surface)


def asked_pace(options: argparse.Namespace, pace: Pace) -> Pace:
    """A pace with what was asked for."""
    from dataclasses import replace

    given = {
        "top_speed_m_s": _either(
            options, top_speed_kmh=SUFFIXES["kmh"].factor, top_speed_mph=SUFFIXES["mph"].factor
        ),
        "acceleration_m_s2": options.acceleration,
        "stops_per_km": options.stops_per_km,
        "wheel_power_w": options.motor_w,
    }
    return replace(pace, **{name: value for name, value in given.items() if value is not None})


def asked_day(options: argparse.Namespace, vehicle: Vehicle, config: Config) -> Day:
    """Rider and weather."""
    from wherewatt.ingest.sheet import WeatherSheet
    from wherewatt.outlook.vehicle import Day

    reference = config.reference
    rider = _either(options, rider_kg=1.0, rider_lb=SUFFIXES["lb"].factor)
    wind = _either(options, wind_speed_m_s=1.0, wind_speed_mph=SUFFIXES["mph"].factor)
    celsius = _either(options, temperature_c=1.0)
    if options.temperature_f is not None:
        celsius = SUFFIXES["f"].factor * options.temperature_f + SUFFIXES["f"].offset
    of_reference = options.course is None
    if rider is None:
        rider = reference.rider_mass_kg if of_reference else vehicle.rider_mass_kg
    if wind is None and of_reference:
        wind = reference.wind_speed_m_s
    return Day(
        rider_mass_kg=rider,
        weather=WeatherSheet(
            temperature_c=reference.temperature_c if celsius is None else celsius,
            wind_speed_m_s=wind,
            wind_from_deg=0.0 if wind == 0.0 else options.wind_from_deg,
        ),
    )


def _either(options: argparse.Namespace, **factors: float) -> float | None:
    """The first of some spellings of one quantity that is given, in SI; None if none is."""
    for name, factor in factors.items():
        value: float | None = getattr(options, name)
        if value is not None:
            return value * factor
    return None
