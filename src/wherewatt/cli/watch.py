"""The verb that watches a folder."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.options import above_zero, add_report_options, count

if TYPE_CHECKING:
    from wherewatt.cli.options import Verbs


def add_watch(verbs: Verbs) -> None:
    """Add the verb."""
    watch = verbs.add_parser(
        "watch",
        help="report every ride that is put into a folder",
        description="Report every ride that is put into a folder, until Ctrl-C.",
        epilog="A ride is reported once, and again when a file of it changes. What is wrong with a "
        "track is said in TRACK.problem.txt beside it. Results of deleted tracks stay.",
    )
    watch.add_argument("folder", type=Path, metavar="FOLDER", help="with its subfolders")
    add_report_options(watch)
    watch.add_argument(
        "--library",
        type=Path,
        metavar="DIR",
        help="folder that remembers what each ride said of its vehicle: rides of a vehicle named "
        "in the ride sheet start from what it holds by then and are added to it",
    )
    watch.add_argument(
        "--settle",
        type=above_zero,
        default=2.0,
        metavar="SECONDS",
        help="files are read when unchanged for so long, and after five times that "
        "even if they seem cut short (default: %(default)g)",
    )
    watch.add_argument(
        "--poll",
        type=above_zero,
        metavar="SECONDS",
        help="look this often instead of waiting for events; for network folders that send none",
    )
    watch.add_argument(
        "--jobs",
        type=count,
        default=1,
        metavar="N",
        help="rides in work at once (default: %(default)s)",
    )
    watch.add_argument(
        "--once", action="store_true", help="stop when all that is there is reported"
    )
    watch.set_defaults(run=_watch)


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
    work = ReportWork(tuple(options.terrain), options.units, options.fetch_terrain, options.library)
    with LiveLine(Console(highlight=False)) as teller:
        status = watch_folder(options.folder, options.out, work, settings, teller)
        teller.line(summary_line(status))
    return 1 if options.once and status.unusable else 0
