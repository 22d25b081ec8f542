"""The verb that predicts a ride."""

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
)

if TYPE_CHECKING:
    from wherewatt.cli.options import Verbs
    from wherewatt.config import Config
    from wherewatt.outlook.asked import Request


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
    add_conditions(predict)
    add_output(predict)
    predict.set_defaults(run=_predict)


def _predict(options: argparse.Namespace) -> int:
    # Imported here so that --help and mistyped commands answer at once.
    from wherewatt.outlook.predict import predict
    from wherewatt.outlook.predict_json import document
    from wherewatt.outlook.predict_view import row_every_m, view_of

    config = asked_config(options)
    request = _request(options, config)
    rows = config.outlook.table_rows
    every_m = row_every_m(request.course.length_m, options.units, rows)
    prediction = predict(request, every_m, config)
    printed = view_of(prediction, config, options.units)
    answer(options, document(prediction, config), printed)
    return 0


def _request(options: argparse.Namespace, config: Config) -> Request:
    from wherewatt.outlook.asked import Request

    vehicle, pace = asked_vehicle(options, config), asked_pace(options, config.pace)
    reserve = options.reserve
    return Request(
        vehicle=vehicle,
        day=asked_day(options, vehicle, config),
        course=asked_course(options, config).with_stops(pace.stops_per_km),
        to_the_end=options.course is not None,
        pace=pace,
        battery_pct=options.battery,
        reserve_pct=config.outlook.reserve_pct if reserve is None else reserve,
    )
