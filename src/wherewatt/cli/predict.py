"""The verb that predicts a ride."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.options import add_units
from wherewatt.errors import InputError, Problem, nearest_name
from wherewatt.units import SUFFIXES

if TYPE_CHECKING:
    from collections.abc import Callable

    from wherewatt.cli.options import Verbs
    from wherewatt.config import Config
    from wherewatt.outlook.asked import Request
    from wherewatt.outlook.course import Course
    from wherewatt.outlook.settings import Pace
    from wherewatt.outlook.vehicle import Day, Vehicle


def add_predict(verbs: Verbs) -> None:
    """Add the verb."""
    predict = verbs.add_parser(
        "predict",
        help="predict range and charge along a course for other conditions",
        description="Predict range and charge along a course: another rider, speed, surface, wind, "
        "temperature or pack state. What is not said is that of the shipped config/reference.toml.",
        epilog="Surfaces of a course are those of the places.geojson beside it. A prediction is "
        "not a promise: keep a reserve.",
    )
    predict.add_argument(
        "course",
        nargs="?",
        type=Path,
        metavar="COURSE",
        help="GPX file with a planned route or a track; without it the reference ride",
    )
    predict.add_argument(
        "--vehicle",
        required=True,
        metavar="NAME",
        help="as the ride sheets name it, or a kind of the handbook such as e-scooter",
    )
    predict.add_argument(
        "--library",
        type=Path,
        metavar="DIR",
        help="folder of what rides said of their vehicles, as report --library keeps it",
    )
    _add_conditions(predict)
    _add_output(predict)
    predict.set_defaults(run=_predict)


def _add_conditions(verb: argparse.ArgumentParser) -> None:
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


def _add_output(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--terrain",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="folder of terrain tiles (.hgt or GeoTIFF); may be given more than once",
    )
    add_units(verb)
    verb.add_argument(
        "--format",
        choices=["text", "md"],
        default="text",
        help="of what is printed: for a terminal, or Markdown to paste (default: %(default)s)",
    )
    verb.add_argument("--json", type=Path, metavar="FILE", help="write all numbers there, too")


def _between(low: float, high: float) -> Callable[[str], float]:
    """A number within limits, ends included."""

    def number(text: str) -> float:
        value = float(text)
        if not low <= value <= high:
            expected = f"a number from {low:g} to {high:g}"
            raise argparse.ArgumentTypeError(f"found {text}, expected {expected}")
        return value

    return number


def _predict(options: argparse.Namespace) -> int:
    # Imported here so that --help and mistyped commands answer at once.
    from rich.console import Console

    from wherewatt.config import load_config, with_reference
    from wherewatt.outlook.compare_json import write_json
    from wherewatt.outlook.predict import predict
    from wherewatt.outlook.predict_json import document
    from wherewatt.outlook.predict_view import row_every_m, view_of
    from wherewatt.outlook.printed import as_markdown, print_out

    config = load_config()
    if options.reference:
        config = with_reference(config, options.reference)
    request = _request(options, config)
    rows = config.outlook.table_rows
    every_m = row_every_m(request.course.length_m, options.units, rows)
    prediction = predict(request, every_m, config)
    if options.json:
        write_json(options.json, document(prediction, config))
    printed = view_of(prediction, config, options.units)
    if options.format == "md":
        sys.stdout.write(as_markdown(printed))
    else:
        print_out(printed, Console(highlight=False, width=None if sys.stdout.isatty() else 100))
    return 0


def _request(options: argparse.Namespace, config: Config) -> Request:
    from wherewatt.outlook.asked import Request

    vehicle, pace = _vehicle(options, config), _pace(options, config.pace)
    reserve = options.reserve
    return Request(
        vehicle=vehicle,
        day=_day(options, vehicle, config),
        course=_course(options, config).with_stops(pace.stops_per_km),
        to_the_end=options.course is not None,
        pace=pace,
        battery_pct=options.battery,
        reserve_pct=config.outlook.reserve_pct if reserve is None else reserve,
    )


def _vehicle(options: argparse.Namespace, config: Config) -> Vehicle:
    from dataclasses import replace

    from wherewatt.library import Library
    from wherewatt.outlook.vehicle import find_vehicle

    library = Library(options.library) if options.library else None
    vehicle = find_vehicle(options.vehicle, library, config)
    if options.battery_wh is None:
        return vehicle
    return replace(vehicle, sheet=replace(vehicle.sheet, battery_nominal_wh=options.battery_wh))


def _course(options: argparse.Namespace, config: Config) -> Course:
    from wherewatt.outlook.plans import planned_course, reference_course
    from wherewatt.pipeline import open_tiles

    surface = options.surface
    if surface is not None and surface not in config.surfaces:
        mend = nearest_name(surface, config.surfaces)
        raise InputError(Problem("--surface", "", f"'{surface}'", "a known surface", mend))
    if options.course is None:
        course = reference_course(config.reference, config.outlook)
    else:
        course = planned_course(options.course, open_tiles(options.terrain), config)
    return course if surface is None else course.on(surface)


def _pace(options: argparse.Namespace, pace: Pace) -> Pace:
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


def _day(options: argparse.Namespace, vehicle: Vehicle, config: Config) -> Day:
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
