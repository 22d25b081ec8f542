"""What the readers of side files share: text, tables of cells, and a list of problems."""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from wherewatt.errors import Problem, SideFileError, display_name, nearest_name
from wherewatt.ingest.place import Place, parse_place

STRUCTURES = ("bridge", "tunnel")

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")
_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d)")
_LONGEST_QUOTE = 60
_DELIMITERS = (";", "\t", ",")


@dataclass(slots=True)
class ProblemList:
    """Problems of one file, gathered so that all are reported at once.

    Parameters
    ----------
    path : the file.
    problems : what was found so far.
    """

    path: Path
    problems: list[Problem] = field(default_factory=list)

    def add(self, place: str, found: str, expected: str, mend: str = "") -> None:
        """Take one problem into the list."""
        self.problems.append(Problem(display_name(self.path), place, found, expected, mend))

    def raise_any(self) -> None:
        """End the reading of the file if anything is wrong with it.

        Raises
        ------
        SideFileError
            If the list holds a problem.
        """
        if self.problems:
            raise SideFileError(*self.problems)


class Row(NamedTuple):
    """One row of a table: its line in the file (from 1) and its stripped cells by column."""

    line: int
    cells: dict[str, str]


def quoted(text: str) -> str:
    """Show a file's own text in a message: in quotes, not too long."""
    cut = text if len(text) <= _LONGEST_QUOTE else text[: _LONGEST_QUOTE - 1] + "…"
    return f"'{cut}'"


def read_text(path: Path) -> str:
    """Read the text of a side file, with plain newlines at the ends of lines.

    UTF-8, or UTF-16 with a byte-order mark (as spreadsheets write it).

    Raises
    ------
    SideFileError
        If the file cannot be read or is no such text.
    """
    problems = ProblemList(path)
    try:
        data = path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        problems.add("", getattr(error, "strerror", None) or str(error), "a readable file")
        raise SideFileError(*problems.problems) from error
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problems.add(f"line {line}", "bytes that are no text", "UTF-8", "save the file as UTF-8")
        raise SideFileError(*problems.problems) from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def read_table(
    problems: ProblemList, *, required: Collection[str], optional: Collection[str]
) -> Iterator[Row]:
    """Rows of a delimited table with a header.

    Comma, semicolon or tab, as the header has it. Blank lines and lines that start with
    ``#`` are skipped. A wrong header ends the table: its rows would only repeat the problem.

    Parameters
    ----------
    problems : of the file to read; problems of the table are added to it.
    required, optional : known columns; a cell missing at the end of a row is empty.

    Raises
    ------
    SideFileError
        If the file cannot be read at all.
    """
    lines = list(_written_lines(read_text(problems.path)))
    header_text = f"a header line with {', '.join(required)}"
    if not lines:
        problems.add("", "an empty file", header_text)
        return
    number, text = lines[0]
    delimiter = next((mark for mark in _DELIMITERS if mark in text), ",")
    header = [name.casefold() for name in _cells(text, delimiter) or []]
    if not _header_fits(header, f"line {number}", problems, (*required, *optional), required):
        return
    for number, text in lines[1:]:
        cells = _cells(text, delimiter)
        if cells is None:
            problems.add(f"line {number}", f"{quoted(text)}", "quotes in pairs")
        elif len(cells) > len(header):
            problems.add(
                f"line {number}",
                f"{len(cells)} cells",
                f"at most {len(header)}, as in the header",
                'put a cell that holds the delimiter in quotes: "3,6 km"',
            )
        else:
            padded = cells + [""] * (len(header) - len(cells))
            yield Row(number, dict(zip(header, padded, strict=True)))


def _written_lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines that say something, with their numbers."""
    for number, line in enumerate(text.split("\n"), start=1):
        if line.strip(" ;,\t") and not line.lstrip().startswith("#"):
            yield number, line


def _cells(line: str, delimiter: str) -> list[str] | None:
    """Cells of one line; None if its quotes do not match."""
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    try:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True))
    except csv.Error:
        return None
    return [cell.strip() for cell in cells]


def _header_fits(
    header: list[str],
    place: str,
    problems: ProblemList,
    known: Collection[str],
    required: Collection[str],
) -> bool:
    """Whether a header has every required column, each column once, and no other."""
    before = len(problems.problems)
    for name in dict.fromkeys(header):
        if name not in known:
            problems.add(
                place, f"column {quoted(name)}", "a known column", nearest_name(name, known)
            )
        elif header.count(name) > 1:
            problems.add(place, f"column {quoted(name)} twice", "each column once")
    problems_of_names = len(problems.problems) > before
    for name in required:
        if name not in header and not problems_of_names:  # a mistyped name is not missing as well
            problems.add(place, f"no column '{name}'", f"columns {', '.join(required)}")
    return len(problems.problems) == before


def place_of(text: str) -> Place:
    """Place along the ride in a cell; a decimal comma is taken for a point.

    Raises
    ------
    ValueError
        If the text is no place.
    """
    if "," not in text:
        return parse_place(text)
    place = parse_place(_DECIMAL_COMMA.sub(".", text))
    return Place(place.kind, place.value, text.strip())


def number_of(text: str, unit: str) -> float:
    """Plain number in a cell, with or without its unit; a decimal comma is taken for a point.

    Raises
    ------
    ValueError
        If the text is no such number ("nan", "inf" and exponents are none).
    """
    plain = text.strip()
    if plain.casefold().endswith(unit.casefold()):
        plain = plain[: -len(unit)].rstrip()
    plain = plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        raise ValueError(text)
    return float(plain)
