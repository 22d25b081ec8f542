"""The verb that tags surfaces."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.options import add_report_options

if TYPE_CHECKING:
    from wherewatt.cli.options import Verbs


def add_tag(verbs: Verbs) -> None:
    """Add the verb."""
    tag = verbs.add_parser(
        "tag",
        help="tag the surfaces of a ride on a page in the browser",
        description="Tag the surfaces of a ride on a page in the browser, until Ctrl-C.",
        epilog="The page is served on this machine alone. It writes TRACK's surface file, or adds "
        "to the places.geojson beside it.",
    )
    tag.add_argument("track", type=Path, metavar="TRACK")
    add_report_options(tag)
    tag.add_argument(
        "--port", type=int, default=0, metavar="N", help="where to listen; 0, the default, is any"
    )
    tag.add_argument("--no-open", action="store_true", help="print the link, do not open it")
    tag.set_defaults(run=_tag)


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
