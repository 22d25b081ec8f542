"""The verb that reports rides."""

from __future__ import annotations

import argparse
import atexit
import contextlib
import gc
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.options import add_report_options, complain
from wherewatt.errors import Problem, TrackError, WherewattError, display_name

if TYPE_CHECKING:
    from rich.console import Console

    from wherewatt.cli.options import Verbs
    from wherewatt.report.beside import Write
    from wherewatt.report.overview import Row
    from wherewatt.report.result import RideResult


def add_report(verbs: Verbs) -> None:
    """Add the verb."""
    report = verbs.add_parser(
        "report",
        help="report the energy of recorded rides, section by section",
        description="Report the energy of recorded rides, section by section.",
        epilog="Beside ride.gpx it also reads ride.readings.csv (battery call-outs), "
        "ride.surface.csv (hand tags), ride.toml (ride sheet) and places.geojson.",
    )
    report.add_argument(
        "tracks",
        nargs="+",
        type=Path,
        metavar="TRACK_OR_FOLDER",
        help="GPX or FIT file, also .gz, or a folder of them",
    )
    add_report_options(report)
    report.add_argument(
        "--library",
        type=Path,
        metavar="DIR",
        help="folder that remembers what each ride said of its vehicle: rides of a vehicle named "
        "in the ride sheet start from it and are added to it",
    )
    report.add_argument(
        "--format",
        choices=["text", "md"],
        default="text",
        help="of what is printed: tables for a terminal, or Markdown to paste (default: "
        "%(default)s)",
    )
    report.add_argument("--debug", action="store_true", help="show where an unexpected error arose")
    report.set_defaults(run=_report)


def _report(options: argparse.Namespace) -> int:
    # Imported here so that --help and mistyped commands answer at once.
    from wherewatt.report.beside import write_beside

    # Its process loads libraries while this one loads others.
    with _no_collections(), write_beside() as slow:
        return _report_with(slow, options)


@contextlib.contextmanager
def _no_collections() -> Iterator[None]:
    """Search for no garbage where libraries are loaded, which leaves none, nor at the very end.

    It would take a fifth of the time of a report.
    """
    gc.disable()
    atexit.register(gc.freeze)
    try:
        yield
    finally:
        gc.enable()


def _report_with(slow: Write, options: argparse.Namespace) -> int:
    from rich.console import Console

    from wherewatt.ingest.recording import find_tracks
    from wherewatt.report.overview import overview_row

    # A pipe or a file has no width: take the one the tables are made for.
    console = Console(highlight=False, width=None if sys.stdout.isatty() else 100)
    # What is printed as Markdown is to be pasted: nothing else may stand there.
    aside = Console(highlight=False, stderr=True) if options.format == "md" else console
    tracks = find_tracks(options.tracks)
    failed, rows = 0, []
    for result in _analysed(tracks, options, slow):
        if isinstance(result, WherewattError):
            complain(str(result))
            failed += 1
        elif len(tracks) == 1:
            _print_ride(result, options, console)
            aside.print(f"Written to {options.out / result.name}{os.sep}")
        else:
            rows.append(overview_row(result, options.units))
    if rows:
        _print_rides(rows, options, console)
        aside.print(f"Written to {options.out}{os.sep}, a folder for each ride.")
    if failed and len(tracks) > 1:
        complain(f"{failed} of {len(tracks)} tracks could not be used")
    return 1 if failed else 0


def _print_ride(result: RideResult, options: argparse.Namespace, console: Console) -> None:
    from wherewatt.report.markdown import markdown_report
    from wherewatt.report.terminal import print_report

    if options.format == "md":
        sys.stdout.write(markdown_report(result, options.units))
    else:
        print_report(result, options.units, console)


def _print_rides(rows: Sequence[Row], options: argparse.Namespace, console: Console) -> None:
    from wherewatt.report.markdown import markdown_overview
    from wherewatt.report.overview import print_overview

    if options.format == "md":
        sys.stdout.write(markdown_overview(rows, options.units))
    else:
        print_overview(rows, options.units, console)


def _analysed(
    tracks: Sequence[Path], options: argparse.Namespace, slow: Write
) -> Iterator[RideResult | WherewattError]:
    """Results in order, each written to its folder; what cannot be used comes as its error."""
    from wherewatt.config import load_config
    from wherewatt.library import Library
    from wherewatt.pipeline import analyse_for_page, open_tiles
    from wherewatt.report.files import write_result

    config = load_config()
    tiles = open_tiles(options.terrain, fetch=options.fetch_terrain)
    library = Library(options.library) if options.library else None
    folders: dict[Path, Path] = {}
    for track in _with_progress(tracks):
        try:
            result = analyse_for_page(track, tiles, config, library)
            folder = options.out / result.name
            _claim(folders, folder, track)
            write_result(result, folder, options.units, slow)
            if library and result.learned:
                library.keep(result.learned)
            yield result
        except WherewattError as error:
            yield error
        except Exception as error:  # one ride's surprise must not cost the others
            if options.debug:
                raise
            yield _defect(track, error)
        gc.enable()  # after a whole ride all libraries are there


def _with_progress(tracks: Sequence[Path]) -> Iterator[Path]:
    """The tracks one by one; with a bar for a person who waits for several."""
    if len(tracks) == 1 or not sys.stderr.isatty():
        yield from tracks
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as progress:
        yield from progress.track(tracks, description="Reporting")


def _defect(track: Path, error: Exception) -> WherewattError:
    found = f"{type(error).__name__}: {error}"
    return TrackError(
        Problem(
            display_name(track),
            "",
            found,
            "no such error",
            "this is a defect of wherewatt: please report it with what --debug prints",
        )
    )


def _claim(folders: dict[Path, Path], folder: Path, track: Path) -> None:
    """Keep two tracks of one name from writing over each other."""
    first = folders.setdefault(folder, track)
    if first != track:
        raise TrackError(
            Problem(
                str(track),
                "",
                f"a second track named {display_name(folder)} (after {first})",
                "one track per name",
                "rename it, or report it with another --out",
            )
        )
