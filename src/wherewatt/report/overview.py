"""Several rides in one table: a row each, for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from wherewatt.report import view
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUTION_LINE, INTERVAL_LINE, plain
from wherewatt.units import DistanceUnit

Row = tuple[str, ...]


def overview_row(result: RideResult, unit: DistanceUnit) -> Row:
    """A ride in one row: name, the headline quantities with intervals, number of warnings."""
    cells = [plain(result.name)]
    for quantity in view.headline(result, unit):
        cells += [quantity.value, quantity.interval] if quantity.interval else [quantity.value]
    return (*cells, str(len(result.notes)))


def print_overview(rows: Sequence[Row], unit: DistanceUnit, console: Console) -> None:
    """Print a table of rides."""
    headings = ("ride", "distance", "energy", "90 %", f"per {unit}", "90 %", "full charge", "90 %")
    table = Table(box=box.SIMPLE_HEAD)
    for heading in (*headings, "warnings"):
        table.add_column(heading, justify="left" if heading == "ride" else "right")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console.print(table)
    console.print(Text(INTERVAL_LINE))
    console.print(Text(CAUTION_LINE, style="italic"))
