"""Answers for people and for programs: in a terminal, as Markdown, as CSV."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from datetime import UTC, datetime
from itertools import islice
from typing import Any, TextIO

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from wherewatt.archive.query import Answer
from wherewatt.archive.vehicle import VehicleParameter
from wherewatt.report.wording import plain

MOST_PRINTED = 1000  # rows; who wants more wants a file


def print_answer(answer: Answer, console: Console) -> bool:
    """Print an answer as a table; returns whether there were more rows than are printed."""
    rows = list(islice(answer.rows, MOST_PRINTED + 1))
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for number, name in enumerate(answer.columns):
        is_number = any(isinstance(row[number], int | float) for row in rows)
        table.add_column(Text(plain(name)), justify="right" if is_number else "left")
    for row in rows[:MOST_PRINTED]:
        table.add_row(*(Text(plain(_shown(value))) for value in row))
    console.print(table)
    return len(rows) > MOST_PRINTED


def write_markdown(answer: Answer, file: TextIO) -> bool:
    """Write an answer as a table of GitHub Flavored Markdown (section 4.10); as `print_answer`."""
    file.write(_line(answer.columns))
    file.write("|" + " --- |" * len(answer.columns) + "\n")
    for row in islice(answer.rows, MOST_PRINTED):
        file.write(_line(plain(_shown(value)) for value in row))
    return next(answer.rows, None) is not None


def write_csv(answer: Answer, file: TextIO) -> None:
    """Write all of an answer as CSV: numbers in full, what is not known is empty."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(answer.columns)
    for row in answer.rows:
        writer.writerow([_whole(value) for value in row])


def vehicle_answer(parameters: Iterable[VehicleParameter]) -> Answer:
    """A vehicle's parameters as an answer."""
    columns = ("parameter", "unit", "before", "estimate", "sd", "low90", "high90")
    rows = ((of.name, of.unit, of.before, of.mean, of.sd, of.low90, of.high90) for of in parameters)
    return Answer(columns, rows)


def _line(cells: Iterable[str]) -> str:
    escaped = (cell.replace("\\", "\\\\").replace("|", "\\|") for cell in cells)
    return f"| {' | '.join(escaped)} |\n"


def _shown(value: Any) -> str:
    """A value for people: about four figures."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    if isinstance(value, float):
        whole_figures = math.floor(math.log10(abs(value))) + 1 if value else 1
        return f"{value:.{min(max(3 - whole_figures, 0), 6)}f}"
    if isinstance(value, datetime):
        return _moment(value).replace("T", " ").removesuffix("Z")
    if isinstance(value, list):
        return ", ".join(map(_shown, value))
    return str(value)


def _whole(value: Any) -> Any:
    """A value for programs."""
    if isinstance(value, float) and not math.isfinite(value):
        return ""
    if isinstance(value, datetime):
        return _moment(value)
    if isinstance(value, list):
        return " ".join(str(_whole(item)) for item in value)
    return value


def _moment(value: datetime) -> str:
    """ISO 8601; UTC with a Z."""
    if value.tzinfo is None:
        return value.isoformat()
    return value.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"
