"""The rows of a CSV log: numbers and times by column, read block by block.

numpy's own text reader takes a block at once. Where it fails, or would read something that is not
meant, the block is read line by line, which finds the line and column to mend. Both ways give the
same values.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, TextIO

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.errors import TrackError
from wherewatt.ingest.points import NO_TIME, NS_LIMIT, Nanoseconds
from wherewatt.ingest.sidefile import ProblemList, quoted
from wherewatt.ingest.source import Source, refuse_beyond
from wherewatt.ingest.text_columns import Texts, read_moments

TIME = "time"  # ISO 8601
ELAPSED = "elapsed_s"  # from any moment on

_DELIMITERS = (";", "\t", ",")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
_NOT_A_NUMBER = re.compile(r"[+-]?nan", re.IGNORECASE)
_BLOCK_CHARACTERS = 1 << 19
_LONGEST_LINE = 10_000
_MOST_COLUMNS = 64
_TIME_BYTES = 65  # one more than a readable time may have
_MOST_PROBLEMS = 20
_NS_PER_S = 1e9

_Rows = npt.NDArray[Any]  # of one block: structured, a field for each column of the file


class Header(NamedTuple):
    """The first written line of a log: its number (from 1), delimiter and lower-case names."""

    line: int
    delimiter: str
    names: tuple[str, ...]


class Columns(NamedTuple):
    """Rows by column.

    Parameters
    ----------
    unix_ns : (n,) time as written, or elapsed time if that is the column [ns]; `NO_TIME` if empty.
    zoneless : (n,) True where a time has no zone.
    values : (n,) arrays by name of column, in its unit; NaN where empty.
    """

    unix_ns: Nanoseconds
    zoneless: BoolArray
    values: dict[str, FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """What the rows hold.

    Parameters
    ----------
    columns : rows with something in them.
    torn_line : the last line, if it breaks off and was left out; None if it does not.
    """

    columns: Columns
    torn_line: int | None


def open_text(data: bytes) -> TextIO:
    """Open the text of a log: UTF-8, or UTF-16 with a byte-order mark; any kind of newline."""
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    encoding = "utf-16" if wide else "utf-8-sig"
    return io.TextIOWrapper(io.BytesIO(data), encoding=encoding, errors="replace")


def find_header(text: TextIO) -> Header | None:
    """Read up to the header; None if no line is written, or the first one is no header of a log."""
    number = 0
    while line := text.readline(_LONGEST_LINE + 1):
        number += 1
        if _is_written(line):
            delimiter = next((mark for mark in _DELIMITERS if mark in line), ",")
            cells = _cells(line, delimiter)
            if cells is None or len(cells) > _MOST_COLUMNS or len(line) > _LONGEST_LINE:
                return None
            return Header(number, delimiter, tuple(name.casefold() for name in cells))
    return None


def read_rows(text: TextIO, header: Header, wanted: Collection[str], source: Source) -> Table:
    """Read all rows after the header.

    Empty lines, lines that start with ``#`` and rows with nothing in them are skipped; cells
    missing at the end of a row are empty. Where the delimiter is no comma, a comma is taken for
    a decimal point.

    Parameters
    ----------
    text : what follows the header.
    header : tells the columns.
    wanted : columns to read, at most one of them a time; others may hold anything.
    source : the file, for messages and limits.

    Raises
    ------
    TrackError
        If cells are no numbers or times, or there are too many rows.
    """
    layout = _layout(header, wanted)
    problems = ProblemList(source.path)
    parts = [_columns(layout, np.empty(0, layout.dtype), [], problems)]
    torn_line = None
    count = 0
    for block in _blocks(text, header.line):
        count += len(block.lines)
        if count > source.limits.max_points:
            refuse_beyond(source.path, "max_points", source.limits.max_points, "points")
        if _breaks_off(layout, block):
            torn_line = block.numbers.pop()
            block.lines.pop()
        parts.append(_read(layout, block, problems))
        if len(problems.problems) >= _MOST_PROBLEMS:
            break
    if problems.problems:
        raise TrackError(*problems.problems[:_MOST_PROBLEMS])
    return Table(_joined(parts), torn_line)


@dataclass(frozen=True, slots=True)
class _Layout:
    """How the lines of a file are to be read.

    Parameters
    ----------
    delimiter : between cells.
    columns : how many there are.
    places : number of each wanted column (from 0) by name.
    dtype : of a row: text for the time, numbers for the rest, next to nothing for the unwanted.
    """

    delimiter: str
    columns: int
    places: Mapping[str, int]
    dtype: np.dtype[np.void]

    def column(self, rows: _Rows, name: str) -> npt.NDArray[Any]:
        """A wanted column of some rows."""
        values: npt.NDArray[Any] = rows[f"column {self.places[name]}"]
        return values


def _layout(header: Header, wanted: Collection[str]) -> _Layout:
    kinds = [
        "S1" if name not in wanted else f"S{_TIME_BYTES}" if name == TIME else "f8"
        for name in header.names
    ]
    return _Layout(
        delimiter=header.delimiter,
        columns=len(kinds),
        places={name: header.names.index(name) for name in header.names if name in wanted},
        dtype=np.dtype([(f"column {at}", kind) for at, kind in enumerate(kinds)]),
    )


class _Block(NamedTuple):
    """Some written lines, with their numbers; only the last of a file may have no newline."""

    numbers: list[int]
    lines: list[str]


def _is_written(line: str) -> bool:
    return line.lstrip()[:1] not in ("", "#")


def _blocks(text: TextIO, line: int) -> Iterator[_Block]:
    """Written lines after a line, some thousands at a time."""
    while lines := text.readlines(_BLOCK_CHARACTERS):
        written = [at for at, content in enumerate(lines) if _is_written(content)]
        if written:
            yield _Block([line + 1 + at for at in written], [lines[at] for at in written])
        line += len(lines)


def _breaks_off(layout: _Layout, block: _Block) -> bool:
    """Whether the last line ends without a newline, and before it makes sense."""
    number, line = block.numbers[-1], block.lines[-1]
    if line.endswith("\n"):
        return False
    cells = _cells(line, layout.delimiter)
    if cells is None or len(cells) < layout.columns:
        return True
    problems = ProblemList(Path())
    _read(layout, _Block([number], [line]), problems)
    return bool(problems.problems)


def _read(layout: _Layout, block: _Block, problems: ProblemList) -> Columns:
    """Read a block; rows with a problem are left out."""
    rows, numbers = _rows_at_once(layout, block), block.numbers
    if rows is None:
        rows, numbers = _rows_one_by_one(layout, block, problems)
    return _columns(layout, rows, numbers, problems)


def _rows_at_once(layout: _Layout, block: _Block) -> _Rows | None:
    """Read a block with numpy's reader; None if it cannot, or might take it differently."""
    text = "".join(block.lines)
    odd = not text.isascii() or '"' in text or "\0" in text
    if odd or not block.lines or max(map(len, block.lines)) > _LONGEST_LINE:
        return None
    delimiter = layout.delimiter
    if delimiter != ",":
        text = text.replace(",", ".")
    lines = _with_empty_cells_named(text.removesuffix("\n"), delimiter).split("\n")
    try:
        rows = np.loadtxt(lines, layout.dtype, comments=None, delimiter=delimiter, ndmin=1)
    except ValueError:
        return None
    numbers = (layout.column(rows, name) for name in layout.places if name != TIME)
    if len(rows) != len(lines) or any(np.isinf(column).any() for column in numbers):
        return None
    return rows


def _with_empty_cells_named(text: str, delimiter: str) -> str:
    """Lines in which an empty cell is written "nan", as numpy's reader wants it."""
    text = f"\n{text}\n"
    named = f"{delimiter}nan{delimiter}"
    for _ in range(2):  # of two empty cells side by side, one pass finds the first
        text = text.replace(delimiter * 2, named)
    text = text.replace(f"{delimiter}\n", f"{delimiter}nan\n")
    return text.replace(f"\n{delimiter}", f"\nnan{delimiter}")[1:-1]


def _rows_one_by_one(
    layout: _Layout, block: _Block, problems: ProblemList
) -> tuple[_Rows, list[int]]:
    """Read a block line by line; rows with a problem are left out."""
    rows: list[tuple[object, ...]] = []
    numbers: list[int] = []
    for number, line in zip(block.numbers, block.lines, strict=True):
        before = len(problems.problems)
        row = _row(layout, line, f"line {number}", problems)
        if len(problems.problems) == before:
            rows.append(row)
            numbers.append(number)
        elif len(problems.problems) >= _MOST_PROBLEMS:
            break
    return np.array(rows, dtype=layout.dtype), numbers


def _row(layout: _Layout, line: str, place: str, problems: ProblemList) -> tuple[object, ...]:
    """Values of one line; a problem for each cell that has none."""
    if len(line) > _LONGEST_LINE:
        problems.add(place, f"{len(line)} characters", f"at most {_LONGEST_LINE} in a line")
        return ()
    cells = _cells(line, layout.delimiter)
    if cells is None:
        problems.add(place, quoted(line.strip()), "quotes in pairs")
        return ()
    if len(cells) > layout.columns:
        found, expected = f"{len(cells)} cells", f"at most {layout.columns}, as in the header"
        problems.add(place, found, expected)
        return ()
    row: list[object] = [b""] * layout.columns
    for name, at in layout.places.items():
        written = cells[at] if at < len(cells) else ""
        cell = written if layout.delimiter == "," else written.replace(",", ".")
        if name == TIME:
            row[at] = cell.encode("ascii", errors="replace")
        elif (value := _number(cell)) is not None:
            row[at] = value
        else:
            problems.add(f"{place}, column {name}", quoted(written), "a number, or nothing")
    return tuple(row)


def _cells(line: str, delimiter: str) -> list[str] | None:
    """Cells of one line; None if its quotes do not match."""
    try:
        reader = csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True)
        return [cell.strip() for cell in next(reader)]
    except csv.Error:
        return None


def _number(text: str) -> float | None:
    """The number in a cell, NaN if the cell is empty or says so; None if it is no number."""
    if not text or _NOT_A_NUMBER.fullmatch(text):
        return math.nan
    if not _NUMBER.fullmatch(text):
        return None
    return None if math.isinf(value := float(text)) else value


def _columns(
    layout: _Layout, rows: _Rows, numbers: Sequence[int], problems: ProblemList
) -> Columns:
    """Columns of the rows with something in them; a problem for each time that is not readable."""
    unix_ns, zoneless = _times(layout, rows, numbers, problems)
    names = [name for name in layout.places if name not in (TIME, ELAPSED)]
    values = {name: layout.column(rows, name) for name in names}
    filled = unix_ns != NO_TIME
    for column in values.values():
        filled |= ~np.isnan(column)
    filled_values = {name: column[filled] for name, column in values.items()}
    return Columns(unix_ns[filled], zoneless[filled], filled_values)


def _times(
    layout: _Layout, rows: _Rows, numbers: Sequence[int], problems: ProblemList
) -> tuple[Nanoseconds, BoolArray]:
    """Times of some rows, and which had no zone; a problem for each that is not readable."""
    unix_ns = np.full(len(rows), NO_TIME, dtype=np.int64)
    zoneless = np.zeros(len(rows), dtype=bool)
    if TIME in layout.places:
        name, expected = TIME, "an ISO 8601 time, or nothing"
        cells = layout.column(rows, TIME)
        unix_ns, zoneless = read_moments(_texts(cells))
    elif ELAPSED in layout.places:
        name, expected = ELAPSED, "seconds within 146 years, or nothing"
        cells = layout.column(rows, ELAPSED)
        known = np.abs(cells) < NS_LIMIT / _NS_PER_S
        unix_ns[known] = np.rint(cells[known] * _NS_PER_S).astype(np.int64)
    else:
        return unix_ns, zoneless
    for index in np.flatnonzero(unix_ns == NO_TIME).tolist():
        shown = cells[index].decode().strip() if name == TIME else f"{cells[index]:g}"
        if len(problems.problems) < _MOST_PROBLEMS and shown.casefold() not in ("", "nan"):
            problems.add(f"line {numbers[index]}, column {name}", quoted(shown), expected)
    return unix_ns, zoneless


def _texts(cells: npt.NDArray[np.bytes_]) -> Texts:
    """The cells of a column, as the reader of times takes them."""
    starts = np.arange(len(cells)) * cells.dtype.itemsize
    return Texts(cells.tobytes(), starts, starts + np.char.str_len(cells))


def _joined(parts: Sequence[Columns]) -> Columns:
    """The blocks of a file, one after the other."""
    return Columns(
        np.concatenate([part.unix_ns for part in parts]),
        np.concatenate([part.zoneless for part in parts]),
        {name: np.concatenate([part.values[name] for part in parts]) for name in parts[0].values},
    )
