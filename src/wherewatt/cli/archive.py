"""The verb that makes tables of any number of rides."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.options import complain, count

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from wherewatt.archive.crew import Crew
    from wherewatt.archive.run import Summary
    from wherewatt.cli.options import Verbs

_MOST_PROBLEMS = 50  # printed; the table of what failed has all


def add_archive(verbs: Verbs) -> None:
    """Add the verb."""
    archive = verbs.add_parser(
        "archive",
        help="make tables of any number of rides, to be asked with 'query'",
        description="Make Parquet tables of all rides of a folder or an object store.",
        epilog="What is made already is kept: run it again to go on after an interruption, or to "
        "take in rides that are new or changed. Rides that are gone leave the tables.",
    )
    archive.add_argument(
        "source", metavar="FOLDER_OR_URL", help="with its subfolders; any URL that fsspec knows"
    )
    archive.add_argument(
        "--out", default="archive", metavar="URL", help="folder or URL (default: %(default)s)"
    )
    archive.add_argument(
        "--terrain",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="folder of terrain tiles (.hgt or GeoTIFF); may be given more than once, "
        "the first is preferred",
    )
    archive.add_argument(
        "--fetch-terrain",
        action="store_true",
        help="fetch missing tiles from the network; nothing is fetched unless asked",
    )
    who = archive.add_mutually_exclusive_group()
    who.add_argument(
        "--jobs", type=count, metavar="N", help="processes at work (default: one per processor)"
    )
    who.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="have the workers of a running Dask cluster do it, as in tcp://10.0.0.7:8786; they "
        "must see the same folders",
    )
    archive.add_argument(
        "--moved", action="store_true", help="the folder of the archive's rides is now this one"
    )
    archive.set_defaults(run=_archive)


def _archive(options: argparse.Namespace) -> int:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    from wherewatt.archive.run import Progress as Done
    from wherewatt.archive.run import archive_rides
    from wherewatt.archive.settings import archive_settings
    from wherewatt.archive.store import require_archive
    from wherewatt.config import load_config

    require_archive()
    settings = archive_settings(load_config(), options.terrain, fetch_terrain=options.fetch_terrain)
    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    bar = Progress(
        "Archiving",
        *columns,
        console=Console(stderr=True),
        disable=not sys.stderr.isatty(),
        transient=True,
    )
    with bar, _crew(options) as crew:
        task = bar.add_task("", total=None)

        def tell(done: Done) -> None:
            bar.update(task, completed=done.done, total=done.rides)

        summary = archive_rides(
            options.source, options.out, settings, crew, tell, is_moved=options.moved
        )
    _tell_problems(summary.failed)
    sys.stdout.write(_line(summary, options.out) + "\n")
    return 1 if summary.failed else 0


def _crew(options: argparse.Namespace) -> AbstractContextManager[Crew]:
    if options.scheduler:
        from wherewatt.archive.cluster import cluster_crew

        return cluster_crew(options.scheduler)
    from wherewatt.archive.crew import process_crew

    return process_crew(options.jobs or os.cpu_count() or 1)


def _line(summary: Summary, out: str) -> str:
    same = summary.rides - summary.analysed
    rides = "1 ride" if summary.rides == 1 else f"{summary.rides:,} rides"
    failed = f"; {len(summary.failed):,} could not be used" if summary.failed else ""
    return f"{rides} in {out}: {summary.analysed:,} analysed, {same:,} as they were{failed}."


def _tell_problems(failed: Mapping[str, str]) -> None:
    for path, reason in list(failed.items())[:_MOST_PROBLEMS]:
        folder = path.rpartition("/")[0]
        for line in reason.splitlines():  # most begin with the name of a file of the ride
            is_named = line.split(":")[0].split(".")[0] == Path(path).name.split(".")[0]
            complain(f"{folder}/{line}" if folder and is_named else line)
    if len(failed) > _MOST_PROBLEMS:
        more = len(failed) - _MOST_PROBLEMS
        complain(f"and {more:,} more: wherewatt query 'SELECT path, reason FROM failed'")
