"""The verb that says where to turn back, whether home can be reached, and how hills went."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.answers import add_output, answer, asked_config
from wherewatt.cli.conditions import (
    add_conditions,
    asked_course,
    asked_day,
    asked_pace,
    asked_vehicle,
    with_surface,
)
from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    from wherewatt.cli.options import Verbs
    from wherewatt.config import Config
    from wherewatt.outlook.asked import Request
    from wherewatt.outlook.course import Course
    from wherewatt.outlook.homeward import Wanted
    from wherewatt.outlook.printed import Printed
    from wherewatt.outlook.settings import Pace
    from wherewatt.report.result import RideResult

_CHANCE_PCT = 90.0
_CARD_ROWS = 25
# What the ride's own sheet and call-outs say.
_OF_THE_RIDE = (
    *("vehicle", "battery", "battery_wh", "rider_kg", "rider_lb", "surface"),
    *("wind_speed_m_s", "wind_speed_mph", "wind_from_deg", "temperature_c", "temperature_f"),
)
_WITH_RIDE = ("home", "hill", "start", "end")


def add_turnback(verbs: Verbs) -> None:
    """Add the verb."""
    turnback = verbs.add_parser(
        "turnback",
        help="say where to turn back so that home is reached, before a ride or during it",
        description="Say where to turn back so that home is reached as surely as asked, with a "
        "card to take along; with --ride, from a ride so far, whether home is reached and how fast "
        "it may be; with --hill, what a hill took and whether it fits again.",
        epilog="A prediction is not a promise: in doubt turn earlier. Do not run a lithium pack "
        "flat. Do not read a screen while riding.",
    )
    turnback.add_argument(
        "course",
        nargs="?",
        type=Path,
        metavar="ROUTE",
        help="the way out: GPX file with a planned route or a track; home is the same road back",
    )
    turnback.add_argument(
        "--vehicle",
        metavar="NAME",
        help="as the ride sheets name it, or a kind of the handbook such as e-scooter",
    )
    turnback.add_argument(
        "--library",
        type=Path,
        metavar="DIR",
        help="folder of what rides said of their vehicles, as report --library keeps it",
    )
    turnback.add_argument(
        "--chance",
        type=float,
        default=_CHANCE_PCT,
        metavar="PERCENT",
        help="how sure the way home has to be (default: %(default)g)",
    )
    _add_ride(turnback)
    add_conditions(turnback)
    add_output(turnback)
    turnback.set_defaults(run=_turnback, refuse=turnback.error)


def _add_ride(verb: argparse.ArgumentParser) -> None:
    add = verb.add_argument_group("during a ride, or after it").add_argument
    add(
        "--ride",
        type=Path,
        metavar="TRACK",
        help="the track so far, with its call-outs and ride sheet, instead of a ROUTE",
    )
    add(
        "--home",
        type=Path,
        metavar="ROUTE",
        help="GPX file of the way home, or of the planned way (default: back along the ride)",
    )
    add(
        "--hill",
        nargs="?",
        const="",
        metavar="NAME",
        help="what a hill took: a name of places.geojson or of the report; without a name the "
        "climb of most height",
    )
    add("--from", dest="start", metavar="PLACE", help='where the hill begins: "2.2 mi", "0:31:00"')
    add("--to", dest="end", metavar="PLACE", help="and where it ends")


def _turnback(options: argparse.Namespace) -> int:
    _check(options)
    config = asked_config(options)
    if options.ride is None:
        document, printed = _planned(options, config)
    else:
        document, printed = _ridden(options, config)
    answer(options, document, printed)
    return 0


def _check(options: argparse.Namespace) -> None:
    """Refuse a command that makes no sense; exit code 2."""
    if (options.course is None) == (options.ride is None):
        options.refuse("expected a ROUTE, or --ride TRACK")
    given = [name for name in vars(options) if getattr(options, name) is not None]
    if options.ride is None:
        if options.vehicle is None:
            options.refuse("expected --vehicle NAME with a ROUTE")
        wrong, mend = [name for name in _WITH_RIDE if name in given], "needs --ride TRACK"
    else:
        wrong, mend = [name for name in _OF_THE_RIDE if name in given], "is told by the ride itself"
    if wrong:
        spelling = {"start": "from", "end": "to"}.get(wrong[0], wrong[0].replace("_", "-"))
        options.refuse(f"--{spelling} {mend}")
    if (options.start is None) != (options.end is None):
        options.refuse("expected both --from and --to")
    if options.start is not None and options.hill is not None:
        options.refuse("expected --hill, or --from and --to")


def _planned(options: argparse.Namespace, config: Config) -> tuple[dict[str, object], Printed]:
    from wherewatt.outlook.predict_view import row_every_m
    from wherewatt.outlook.turnback import turn_back
    from wherewatt.outlook.turnback_json import turnback_document
    from wherewatt.outlook.turnback_view import view_of_turnback

    request = _request(options, config)
    unit: DistanceUnit = options.units
    every_m = max(unit.metres, row_every_m(request.course.length_m, unit, _CARD_ROWS))
    found = turn_back(request, options.chance / 100.0, every_m, config)
    return turnback_document(found), view_of_turnback(found, unit)


def _request(options: argparse.Namespace, config: Config) -> Request:
    from wherewatt.outlook.asked import Request

    vehicle = asked_vehicle(options, config)
    pace = asked_pace(options, config.pace)
    return Request(
        vehicle=vehicle,
        day=asked_day(options, vehicle, config),
        course=_way_out(options, pace, config),
        to_the_end=True,
        pace=pace,
        battery_pct=options.battery,
        reserve_pct=_reserve(options, config),
    )


def _way_out(options: argparse.Namespace, pace: Pace, config: Config) -> Course:
    """The route; one that was recorded with its surfaces and stops."""
    from wherewatt.outlook.plans import recorded_course

    if not _is_recorded(options.course):
        return asked_course(options, config).with_stops(pace.stops_per_km)
    ridden = recorded_course(_analysed(options.course, options, config), config.outlook)
    course = with_surface(ridden, options, config)
    return course if options.stops_per_km is None else course.with_stops(pace.stops_per_km)


def _is_recorded(path: Path) -> bool:
    """True for what no planner writes, and for a track with files of a ride beside it."""
    from wherewatt.ingest.recording import SIDE_ENDINGS
    from wherewatt.ingest.track import track_stem

    beside = (path.with_name(track_stem(path) + ending) for ending in SIDE_ENDINGS)
    planned = path.name.casefold().removesuffix(".gz").endswith(".gpx")
    return not planned or any(side.is_file() for side in beside)


def _ridden(options: argparse.Namespace, config: Config) -> tuple[dict[str, object], Printed]:
    from wherewatt.outlook.homeward import homeward
    from wherewatt.outlook.homeward_view import view_of_homeward
    from wherewatt.outlook.turnback_json import homeward_document

    result = _analysed(options.ride, options, config)
    if options.hill is not None or options.start is not None:
        return _hill(options, result, config)
    home = homeward(result, _wanted(options, result, config), config)
    return homeward_document(home), view_of_homeward(home, options.units)


def _analysed(track: Path, options: argparse.Namespace, config: Config) -> RideResult:
    from wherewatt.library import Library
    from wherewatt.pipeline import analyse, open_tiles

    library = Library(options.library) if options.library else None
    return analyse(track, open_tiles(options.terrain), config, library)


def _wanted(options: argparse.Namespace, result: RideResult, config: Config) -> Wanted:
    from wherewatt.outlook.home_route import home_along
    from wherewatt.outlook.homeward import Wanted
    from wherewatt.outlook.ridden_pace import ridden_pace
    from wherewatt.pipeline import open_tiles

    tiles = open_tiles(options.terrain)
    home = home_along(options.home, result, tiles, config) if options.home else None
    return Wanted(
        course=home,
        pace=asked_pace(options, ridden_pace(result, config)),
        reserve_pct=_reserve(options, config),
        chance=options.chance / 100.0,
        speed_step_m_s=options.units.metres / 3600.0,
    )


def _hill(
    options: argparse.Namespace, result: RideResult, config: Config
) -> tuple[dict[str, object], Printed]:
    from wherewatt.outlook.hill_test import hill_test
    from wherewatt.outlook.hill_view import view_of_hill
    from wherewatt.outlook.hills import hill_between, hill_named
    from wherewatt.outlook.turnback_json import hill_document

    if options.start is not None:
        hill = hill_between(result, options.start, options.end)
    else:
        hill = hill_named(result, options.hill)
    found = hill_test(result, hill, _reserve(options, config), options.chance / 100.0, config)
    return hill_document(found), view_of_hill(found, options.units)


def _reserve(options: argparse.Namespace, config: Config) -> float:
    """Percent of charge that is to be left [%]."""
    return config.outlook.reserve_pct if options.reserve is None else float(options.reserve)
