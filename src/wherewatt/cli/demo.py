"""The verb that shows the sample rides."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.options import add_units

if TYPE_CHECKING:
    from wherewatt.cli.options import Verbs


def add_demo(verbs: Verbs) -> None:
    """Add the verb."""
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
    add_units(demo)
    demo.add_argument("--no-open", action="store_true", help="do not open the reports")
    demo.set_defaults(run=_demo)


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
