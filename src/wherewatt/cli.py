"""The command line: each verb a few lines over a library function."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt import __version__
from wherewatt.errors import Problem, TrackError, WherewattError, display_name
from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    from rich.console import Console

    from wherewatt.report.overview import Row
    from wherewatt.report.result import RideResult

    _Verbs = argparse._SubParsersAction[argparse.ArgumentParser]

DESCRIPTION = "Where the watt-hours of a light electric vehicle's ride went."


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code.

    0 if all went well, 1 if an input could not be used (each problem is one line on standard
    error), 2 if the command itself was wrong, 130 if interrupted.
    """
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except WherewattError as error:
        _complain(str(error))
        return 1
    except KeyboardInterrupt:
        _complain("interrupted; what was finished is kept")
        return 130
    except BrokenPipeError:  # the reader of our output has gone, as with "| head"
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="wherewatt", description=DESCRIPTION)
    parser.add_argument("--version", action="version", version=f"wherewatt {__version__}")
    verbs = parser.add_subparsers(title="verbs", required=True, metavar="VERB")
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
    _add_report_options(report)
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
    _add_tag(verbs)
    _add_watch(verbs)
    _add_demo(verbs)
    return parser


def _add_tag(verbs: _Verbs) -> None:
    tag = verbs.add_parser(
        "tag",
        help="tag the surfaces of a ride on a page in the browser",
        description="Tag the surfaces of a ride on a page in the browser, until Ctrl-C.",
        epilog="The page is served on this machine alone. It writes TRACK's surface file, or adds "
        "to the places.geojson beside it.",
    )
    tag.add_argument("track", type=Path, metavar="TRACK")
    _add_report_options(tag)
    tag.add_argument(
        "--port", type=int, default=0, metavar="N", help="where to listen; 0, the default, is any"
    )
    tag.add_argument("--no-open", action="store_true", help="print the link, do not open it")
    tag.set_defaults(run=_tag)


def _add_watch(verbs: _Verbs) -> None:
    watch = verbs.add_parser(
        "watch",
        help="report every ride that is put into a folder",
        description="Report every ride that is put into a folder, until Ctrl-C.",
        epilog="A ride is reported once, and again when a file of it changes. What is wrong with a "
        "track is said in TRACK.problem.txt beside it. Results of deleted tracks stay.",
    )
    watch.add_argument("folder", type=Path, metavar="FOLDER", help="with its subfolders")
    _add_report_options(watch)
    watch.add_argument(
        "--settle",
        type=_above_zero,
        default=2.0,
        metavar="SECONDS",
        help="files are read when unchanged for so long, and after five times that "
        "even if they seem cut short (default: %(default)g)",
    )
    watch.add_argument(
        "--poll",
        type=_above_zero,
        metavar="SECONDS",
        help="look this often instead of waiting for events; for network folders that send none",
    )
    watch.add_argument(
        "--jobs",
        type=_count,
        default=1,
        metavar="N",
        help="rides in work at once (default: %(default)s)",
    )
    watch.add_argument(
        "--once", action="store_true", help="stop when all that is there is reported"
    )
    watch.set_defaults(run=_watch)


def _add_demo(verbs: _Verbs) -> None:
    demo = verbs.add_parser(
        "demo",
        help="copy the sample rides into a folder and report them",
        description="Copy the sample rides into a folder, report them and open the reports.",
    )
    demo.add_argument(
        "folder",
        nargs="?",
        type=Path,
        default=Path("wherewatt-demo"),
        metavar="FOLDER",
        help="default: %(default)s",
    )
    _add_units(demo)
    demo.add_argument("--no-open", action="store_true", help="do not open the reports")
    demo.set_defaults(run=_demo)


def _add_report_options(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--out", type=Path, default=Path("reports"), metavar="DIR", help="default: %(default)s"
    )
    verb.add_argument(
        "--terrain",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="folder of terrain tiles (.hgt or GeoTIFF); may be given more than once, "
        "the first is preferred",
    )
    _add_units(verb)
    verb.add_argument(
        "--fetch-terrain",
        action="store_true",
        help="fetch missing tiles from the network; nothing is fetched unless asked",
    )


def _add_units(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--units",
        type=DistanceUnit,
        choices=list(DistanceUnit),
        default=DistanceUnit.KM,
        help="of what a person reads; files are always metric (default: %(default)s)",
    )


def _above_zero(text: str) -> float:
    value = float(text)
    if not 0.0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"found {text}, expected a number above 0")
    return value


def _count(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"found {text}, expected 1 or more")
    return value


def _report(options: argparse.Namespace) -> int:
    # Imported here so that --help and mistyped commands answer at once.
    from rich.console import Console

    from wherewatt.ingest.recording import find_tracks
    from wherewatt.report.overview import overview_row

    # A pipe or a file has no width: take the one the tables are made for.
    console = Console(highlight=False, width=None if sys.stdout.isatty() else 100)
    # What is printed as Markdown is to be pasted: nothing else may stand there.
    aside = Console(highlight=False, stderr=True) if options.format == "md" else console
    tracks = find_tracks(options.tracks)
    failed, rows = 0, []
    for result in _analysed(tracks, options):
        if isinstance(result, WherewattError):
            _complain(str(result))
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
        _complain(f"{failed} of {len(tracks)} tracks could not be used")
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
    tracks: Sequence[Path], options: argparse.Namespace
) -> Iterator[RideResult | WherewattError]:
    """Results in order, each written to its folder; what cannot be used comes as its error."""
    from rich.console import Console
    from rich.progress import Progress

    from wherewatt.config import load_config
    from wherewatt.library import Library
    from wherewatt.pipeline import analyse, open_tiles
    from wherewatt.report.files import write_result

    config = load_config()
    tiles = open_tiles(options.terrain, fetch=options.fetch_terrain)
    library = Library(options.library) if options.library else None
    folders: dict[Path, Path] = {}
    quiet = len(tracks) == 1 or not sys.stderr.isatty()
    with Progress(console=Console(stderr=True), disable=quiet, transient=True) as progress:
        for track in progress.track(tracks, description="Reporting"):
            try:
                result = analyse(track, tiles, config, library)
                folder = options.out / result.name
                _claim(folders, folder, track)
                write_result(result, folder, options.units)
                if library and result.learned:
                    library.keep(result.learned)
                yield result
            except WherewattError as error:
                yield error
            except Exception as error:  # one ride's surprise must not cost the others
                if options.debug:
                    raise
                yield _defect(track, error)


def _tag(options: argparse.Namespace) -> int:
    from rich.console import Console

    from wherewatt.config import load_config
    from wherewatt.pipeline import open_tiles
    from wherewatt.tagging.serve import open_link, open_session, serve

    console = Console(highlight=False, markup=False)
    tiles = open_tiles(options.terrain, fetch=options.fetch_terrain)
    session = open_session(options.track, options.out, tiles, load_config(), options.units)

    def announce(link: str) -> None:
        console.print(f"Tag the ride at {link}", soft_wrap=True)
        console.print("The link lets in once. Ctrl-C ends it.")
        if not options.no_open:
            open_link(link)

    serve(session, options.port, announce)
    return 0


def _watch(options: argparse.Namespace) -> int:
    from rich.console import Console

    from wherewatt.inbox.live import LiveLine
    from wherewatt.inbox.report_work import ReportWork
    from wherewatt.inbox.settings import WatchSettings
    from wherewatt.inbox.teller import summary_line
    from wherewatt.inbox.watch import watch_folder

    settings = WatchSettings(
        settle_s=options.settle,
        patience_s=5.0 * options.settle,
        rescan_s=options.poll or 30.0,
        jobs=options.jobs,
        events=options.poll is None,
        once=options.once,
    )
    work = ReportWork(tuple(options.terrain), options.units, options.fetch_terrain)
    with LiveLine(Console(highlight=False)) as teller:
        status = watch_folder(options.folder, options.out, work, settings, teller)
        teller.line(summary_line(status))
    return 1 if options.once and status.unusable else 0


def _demo(options: argparse.Namespace) -> int:
    from rich.console import Console

    from wherewatt.demo import copy_samples, open_pages, page_of, report_samples
    from wherewatt.report.overview import overview_row, print_overview

    console = Console(highlight=False, markup=False, width=None if sys.stdout.isatty() else 100)
    tracks = copy_samples(options.folder)
    results = list(report_samples(tracks, options.folder, options.units))
    print_overview([overview_row(it, options.units) for it in results], options.units, console)
    console.print("The reports, from the sample rides there:")
    pages = [page_of(result, options.folder) for result in results]
    for page in pages:
        console.print(str(page), soft_wrap=True)
    if not options.no_open and not open_pages(pages):
        console.print("There is no browser to open them in.")
    return 0


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


def _complain(text: str) -> None:
    """Problems to standard error, one line each."""
    for line in text.splitlines() or [""]:
        sys.stderr.write(f"wherewatt: {line}\n")
