"""Options that several verbs share, and how problems are told."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    Verbs = argparse._SubParsersAction[argparse.ArgumentParser]


def add_report_options(verb: argparse.ArgumentParser) -> None:
    """Where results go, and how heights and units are chosen."""
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
    add_units(verb)
    verb.add_argument(
        "--fetch-terrain",
        action="store_true",
        help="fetch missing tiles from the network; nothing is fetched unless asked",
    )


def add_units(verb: argparse.ArgumentParser) -> None:
    """Kilometres or miles."""
    verb.add_argument(
        "--units",
        type=DistanceUnit,
        choices=list(DistanceUnit),
        default=DistanceUnit.KM,
        help="of what a person reads; files are always metric (default: %(default)s)",
    )


def above_zero(text: str) -> float:
    """A number above zero."""
    value = float(text)
    if not 0.0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"found {text}, expected a number above 0")
    return value


def count(text: str) -> int:
    """A whole number, 1 or more."""
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError(f"found {text}, expected 1 or more")
    return value


def complain(text: str) -> None:
    """Problems to standard error, one line each."""
    for line in text.splitlines() or [""]:
        sys.stderr.write(f"wherewatt: {line}\n")
