"""The verb that asks an archive."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.archive.questions import QUESTIONS
from wherewatt.cli.options import complain

if TYPE_CHECKING:
    from wherewatt.archive.query import Answer
    from wherewatt.cli.options import Verbs


def add_query(verbs: Verbs) -> None:
    """Add the verb."""
    ready = "; ".join(f"{name}: {question.says}" for name, question in QUESTIONS.items())
    query = verbs.add_parser(
        "query",
        help="ask the tables that 'archive' made",
        description="Ask the tables that 'archive' made: in SQL (DuckDB's), a ready question, or "
        "what all rides say of one vehicle.",
        epilog=f"Tables: rides, sections, legs, parameters, factors, failed. Ready questions: "
        f"{ready}.",
    )
    what = query.add_mutually_exclusive_group(required=True)
    what.add_argument("sql", nargs="?", metavar="SQL", help="one SELECT")
    what.add_argument("--ask", choices=list(QUESTIONS), metavar="NAME", help="a ready question")
    what.add_argument(
        "--vehicle", metavar="NAME", help="its parameters from all its rides together"
    )
    what.add_argument(
        "--show-sql", choices=list(QUESTIONS), metavar="NAME", help="print a ready question's SQL"
    )
    query.add_argument(
        "--archive", default="archive", metavar="URL", help="folder or URL (default: %(default)s)"
    )
    query.add_argument(
        "--format",
        choices=["text", "csv", "md"],
        default="text",
        help="tables for a terminal, CSV with all figures, or Markdown (default: %(default)s)",
    )
    query.add_argument(
        "--library",
        type=Path,
        metavar="DIR",
        help="with --vehicle: put what each ride said of it into this library, for 'report'",
    )
    query.set_defaults(run=_query)


def _query(options: argparse.Namespace) -> int:
    if options.library and not options.vehicle:
        complain("--library: found no --vehicle, expected the vehicle whose rides to put there")
        return 2
    if options.show_sql:
        sys.stdout.write(QUESTIONS[options.show_sql].sql)
        return 0
    if options.vehicle:
        return _ask_of_vehicle(options)
    from wherewatt.archive.query import open_archive

    with open_archive(options.archive) as archive:
        for note in archive.notes:
            complain(note.message)
        _print(archive.ask(QUESTIONS[options.ask].sql if options.ask else options.sql), options)
    return 0


def _ask_of_vehicle(options: argparse.Namespace) -> int:
    from wherewatt.archive.answers import vehicle_answer
    from wherewatt.archive.pool import pooled
    from wherewatt.archive.vehicle import export_rides, vehicle_parameters
    from wherewatt.config import load_config

    config = load_config()
    together = pooled(options.archive, options.vehicle, config)
    _print(vehicle_answer(vehicle_parameters(together, config)), options)
    if options.format == "text":
        rides = "1 ride" if together.rides == 1 else f"{together.rides:,} rides"
        sys.stdout.write(f"From {rides} together.\n")
    if options.library:
        rides_kept = export_rides(options.archive, options.vehicle, options.library)
        sys.stderr.write(f"{rides_kept:,} written to {options.library}\n")
    return 0


def _print(answer: Answer, options: argparse.Namespace) -> None:
    from rich.console import Console

    from wherewatt.archive.answers import MOST_PRINTED, print_answer, write_csv, write_markdown

    is_cut = False
    if options.format == "csv":
        write_csv(answer, sys.stdout)
    elif options.format == "md":
        is_cut = write_markdown(answer, sys.stdout)
    else:
        width = None if sys.stdout.isatty() else 120
        is_cut = print_answer(answer, Console(highlight=False, width=width))
    if is_cut:
        complain(f"the first {MOST_PRINTED:,} rows; all of them with --format csv")
