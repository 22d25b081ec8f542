"""Several rides in one table: a row each, for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from wherewatt.allocate.ledger import Measure
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUTION_LINE, INTERVAL_LINE, plain
from wherewatt.units import DistanceUnit

Row = tuple[str, ...]


def overview_row(result: RideResult, unit: DistanceUnit) -> Row:
    """A ride in one row: name, length, sections, energy, consumption, range, warnings."""
    ledger, per_unit = result.ledger, unit.metres / 1000.0
    return (
        plain(result.name),
        f"{result.ride.distance_m[-1] / unit.metres:.2f}",
        str(len(result.sections)),
        *_with_interval(ledger.total, 1.0),
        *_with_interval(ledger.wh_per_km, per_unit),
        *_with_interval(ledger.full_charge_km, 1.0 / per_unit),
        str(len(result.notes)),
    )


def overview_headings(unit: DistanceUnit) -> tuple[str, ...]:
    """Headings of all columns but the first, which holds the name."""
    energy = (f"{unit}", "Sections", "Wh", "90 %", f"Wh/{unit}", "90 %")
    return (*energy, f"Range, {unit}", "90 %", "Notes")


def print_overview(rows: Sequence[Row], unit: DistanceUnit, console: Console) -> None:
    """Print a table of rides."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column("Ride", overflow="fold")
    for heading in overview_headings(unit):
        table.add_column(heading, justify="right", no_wrap=True)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console.print(table)
    console.print(Text(INTERVAL_LINE))
    console.print(Text(CAUTION_LINE, style="italic"))


def _with_interval(measure: Measure, factor: float) -> tuple[str, str]:
    if not np.isfinite(measure.mean):
        return "–", ""
    values = [value * factor for value in (measure.mean, measure.low90, measure.high90)]
    digits = 0 if abs(values[0]) >= 100 else 1
    mean, low, high = (f"{value:.{digits}f}" for value in values)
    return mean, f"{low}–{high}"
