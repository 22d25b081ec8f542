"""The verb that compares rides."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.cli.answers import add_output, answer, asked_config
from wherewatt.errors import Problem, TrackError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wherewatt.cli.options import Verbs
    from wherewatt.config import Config
    from wherewatt.library import Library
    from wherewatt.report.result import RideResult


def add_compare(verbs: Verbs) -> None:
    """Add the verb."""
    compare = verbs.add_parser(
        "compare",
        help="put rides on equal terms: which goes farther, how surely, and why they differed",
        description="Put two or more rides on equal terms. Each vehicle is driven over one "
        "reference ride with what its own ride says of it; the others are held against the first.",
        epilog="Rides whose ride sheets name the same vehicle are taken as rides of one.",
    )
    compare.add_argument(
        "first", type=Path, metavar="TRACK", help="the ride to hold others against"
    )
    compare.add_argument(
        "others",
        nargs="+",
        type=Path,
        metavar="TRACK",
        help="one or more others; each with its side files, as for report",
    )
    compare.add_argument(
        "--library",
        type=Path,
        metavar="DIR",
        help="folder of what other rides said of the vehicles, as report --library keeps it; it is "
        "read, not added to",
    )
    compare.add_argument(
        "--reference",
        type=Path,
        metavar="FILE",
        help="TOML file with what is to be different in the shipped config/reference.toml",
    )
    add_output(compare)
    compare.set_defaults(run=_compare)


def _compare(options: argparse.Namespace) -> int:
    # Imported here so that --help and mistyped commands answer at once.
    from wherewatt.library import Library
    from wherewatt.outlook.compare import compare
    from wherewatt.outlook.compare_json import document
    from wherewatt.outlook.compare_view import view_of

    config = asked_config(options)
    library = Library(options.library) if options.library else None
    results = _analysed((options.first, *options.others), options.terrain, config, library)
    comparison = compare(results, config, library)
    printed = view_of(comparison, config, options.units)
    answer(options, document(comparison, config), printed)
    return 0


def _analysed(
    tracks: Sequence[Path], terrain: Sequence[Path], config: Config, library: Library | None
) -> list[RideResult]:
    """The rides; a track that was given twice would be held against itself."""
    from wherewatt.pipeline import analyse, open_tiles

    tiles = open_tiles(terrain)
    results: dict[str, RideResult] = {}
    for track in tracks:
        result = analyse(track, tiles, config, library)
        sha256 = result.recording.track.sha256
        if sha256 in results:
            raise TrackError(
                Problem(
                    str(track),
                    "",
                    f"the same recording as {results[sha256].name}",
                    "another ride",
                    "leave one of them out",
                )
            )
        results[sha256] = result
    return list(results.values())
