"""The report as tables in a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from wherewatt.report import view
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUTION_LINE, HANDBOOK_WARNING, INTERVAL_LINE, plain
from wherewatt.units import DistanceUnit


@dataclass(frozen=True, slots=True)
class _Column:
    """A column: field of the row, heading, and whether it holds words rather than numbers."""

    field: str
    heading: str
    words: bool = False


def print_report(result: RideResult, unit: DistanceUnit, console: Console) -> None:
    """Print the report of a ride; it fits into 100 columns.

    Parameters
    ----------
    result : the ride.
    unit : unit of distances.
    console : where to; without colours where that is no terminal.
    """
    # Text objects throughout, so that nothing from a file is read as markup.
    console.print(Text(plain(result.name), style="bold"))
    if view.is_handbook_only(result):
        console.print(Text(HANDBOOK_WARNING, style="bold"))
    console.print(Text(view.time_line(result)))
    console.print(_answer(result, unit))
    console.print(_sections(result, unit))
    console.print(_causes(result))
    console.print(Text(INTERVAL_LINE))
    for warning in view.warnings(result):
        console.print(Text.assemble(("Note: ", "bold"), warning))
    console.print(Text(CAUTION_LINE, style="italic"))


def _answer(result: RideResult, unit: DistanceUnit) -> Table:
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    for quantity in view.headline(result, unit):
        within = f"90 % interval {quantity.interval}" if quantity.interval else ""
        table.add_row(Text(quantity.name), Text(quantity.value, style="bold"), Text(within))
    return table


def _sections(result: RideResult, unit: DistanceUnit) -> Table:
    columns = (
        _Column("section", "#"),
        _Column("span", f"From–to, {unit}"),
        _Column("length", f"{unit}"),
        _Column("terrain", "Terrain", words=True),
        _Column("flow", "Flow", words=True),
        _Column("surface", "Surface", words=True),
        _Column("energy", "Wh"),
        _Column("half_width", "±"),
        _Column("per_distance", f"Wh/{unit}"),
        _Column("share", "%"),
    )
    return _table(columns, view.section_rows(result, unit), view.section_total(result, unit))


def _causes(result: RideResult) -> Table:
    columns = (
        _Column("name", "Cause", words=True),
        _Column("energy", "Wh"),
        _Column("half_width", "±"),
        _Column("share", "%"),
    )
    *causes, total = view.cause_rows(result)
    return _table(columns, causes, total)


def _table(columns: Sequence[_Column], rows: Iterable[object], total: object) -> Table:
    table = Table(box=box.HORIZONTALS, show_footer=True, padding=(0, 1, 0, 0), pad_edge=False)
    for column in columns:
        table.add_column(
            Text(column.heading),
            Text(getattr(total, column.field)),
            justify="left" if column.words else "right",
            no_wrap=not column.words,
            overflow="fold",
        )
    for row in rows:
        table.add_row(*(Text(getattr(row, column.field)) for column in columns))
    return table
