"""Sentences and tables to print, in a terminal or as Markdown."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

_SPECIAL = re.compile(r"([\\`*_\[\]<>|~$&])")


@dataclass(frozen=True, slots=True)
class Heading:
    """Heading of a column, and whether the column holds words rather than numbers."""

    text: str
    words: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Parameters
    ----------
    title : what it says.
    headings : of the columns.
    rows : cells as text.
    total : last row, set apart; empty if there is none.
    below : sentences that belong to it.
    """

    title: str
    headings: tuple[Heading, ...]
    rows: tuple[tuple[str, ...], ...]
    total: tuple[str, ...] = ()
    below: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Printed:
    """What is printed, in order.

    Parameters
    ----------
    answers : the answer, a sentence each.
    grids : tables.
    notes : what a reader has to know, a sentence each.
    caution : the last line.
    """

    answers: tuple[str, ...]
    grids: tuple[Grid, ...]
    notes: tuple[str, ...]
    caution: str


def print_out(printed: Printed, console: Console) -> None:
    """Print to a terminal; it fits into 100 columns."""
    # Text objects throughout, so that nothing from a file is read as markup.
    for answer in printed.answers:
        console.print(Text(answer, style="bold"))
    for grid in printed.grids:
        console.print()
        console.print(Text(grid.title))
        console.print(_table(grid))
        for sentence in grid.below:
            console.print(Text(sentence))
    console.print()
    for note in printed.notes:
        console.print(Text.assemble(("Note: ", "bold"), note))
    console.print(Text(printed.caution, style="italic"))


def _table(grid: Grid) -> Table:
    table = Table(
        box=box.HORIZONTALS, show_footer=bool(grid.total), padding=(0, 1, 0, 0), pad_edge=False
    )
    footers = grid.total or ("",) * len(grid.headings)
    for heading, footer in zip(grid.headings, footers, strict=True):
        table.add_column(
            Text(heading.text),
            Text(footer),
            justify="left" if heading.words else "right",
            no_wrap=not heading.words,
            overflow="fold",
        )
    for row in grid.rows:
        table.add_row(*map(Text, row))
    return table


def as_markdown(printed: Printed) -> str:
    """The same as Markdown; tables are those of GitHub Flavored Markdown, section 4.10."""
    parts = [f"**{_escaped(answer)}**" for answer in printed.answers]
    for grid in printed.grids:
        parts += [_escaped(grid.title), _markdown_table(grid), *map(_escaped, grid.below)]
    if printed.notes:
        parts.append("\n".join(f"- {_escaped(note)}" for note in printed.notes))
    return "\n\n".join([*parts, f"*{_escaped(printed.caution)}*"]) + "\n"


def _markdown_table(grid: Grid) -> str:
    rows: Sequence[tuple[str, ...]] = (*grid.rows, grid.total) if grid.total else grid.rows
    return "\n".join(
        [
            _line(_escaped(heading.text) for heading in grid.headings),
            _line(":--" if heading.words else "--:" for heading in grid.headings),
            *(_line(map(_escaped, row)) for row in rows),
        ]
    )


def _line(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _escaped(text: str) -> str:
    """A text in which nothing is taken for markup."""
    return _SPECIAL.sub(r"\\\1", text)
