"""How verbs that look ahead or beside take their settings, and how they answer."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wherewatt.cli.options import add_units
from wherewatt.errors import OutputError, Problem
from wherewatt.whole_file import write_whole

if TYPE_CHECKING:
    from wherewatt.config import Config
    from wherewatt.outlook.printed import Printed


def add_output(verb: argparse.ArgumentParser) -> None:
    """Terrain, units, and what becomes of the answer."""
    verb.add_argument(
        "--terrain",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="folder of terrain tiles (.hgt or GeoTIFF); may be given more than once",
    )
    add_units(verb)
    verb.add_argument(
        "--format",
        choices=["text", "md"],
        default="text",
        help="of what is printed: for a terminal, or Markdown to paste (default: %(default)s)",
    )
    verb.add_argument("--json", type=Path, metavar="FILE", help="write all numbers there, too")


def asked_config(options: argparse.Namespace) -> Config:
    """The shipped configuration, with what a file of the user's has different."""
    from wherewatt.config import load_config, with_reference

    config = load_config()
    return with_reference(config, options.reference) if options.reference else config


def answer(options: argparse.Namespace, document: dict[str, Any], printed: Printed) -> None:
    """Write the numbers where that was asked for, and print the rest."""
    from rich.console import Console

    from wherewatt.outlook.printed import as_markdown, print_out

    if options.json:
        _write(options.json, document)
    if options.format == "md":
        sys.stdout.write(as_markdown(printed))
    else:
        print_out(printed, Console(highlight=False, width=None if sys.stdout.isatty() else 100))


def _write(path: Path, document: dict[str, Any]) -> None:
    text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    try:
        write_whole(path, text.encode("utf-8"))
    except OSError as error:
        mend = "make room, check --json"
        problem = Problem(str(path), "", error.strerror or str(error), "a place to write", mend)
        raise OutputError(problem.line) from error
