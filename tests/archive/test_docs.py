"""docs/archive.md says what the code does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from wherewatt.archive.columns import TABLES
from wherewatt.archive.holdings import Place
from wherewatt.archive.partition import most_rides
from wherewatt.archive.questions import QUESTIONS
from wherewatt.columns import LEG_COLUMNS, SECTION_COLUMNS

TEXT = (Path(__file__).parents[2] / "docs" / "archive.md").read_text(encoding="utf-8")


def rows(text: str) -> list[list[str]]:
    table = re.search(r"(?:^\|.*\n)+", text, re.MULTILINE)
    assert table
    lines = table[0].splitlines()[2:]
    return [[cell.strip().strip("`") for cell in line.strip("|").split("|")] for line in lines]


def test_every_table_is_there() -> None:
    assert re.findall(r"^### `(\w+)`$", TEXT, re.MULTILINE) == list(TABLES)


@pytest.mark.parametrize("table", [name for name in TABLES if name not in ("sections", "legs")])
def test_columns(table: str) -> None:
    expected = [[column.name, column.unit, column.meaning] for column in TABLES[table]]
    assert rows(TEXT.split(f"### `{table}`\n")[1]) == expected


def test_sections_and_legs_are_those_of_a_report() -> None:
    assert TABLES["sections"][1:] == SECTION_COLUMNS
    assert TABLES["legs"][1:] == LEG_COLUMNS


def test_ready_questions() -> None:
    expected = [[question.name, question.says] for question in QUESTIONS.values()]
    assert rows(TEXT[TEXT.index("| `--ask` |") :]) == expected


def test_layout() -> None:
    place = Place("p0110")
    assert place.note in TEXT
    assert all(place.table(name) in TEXT for name in ("rides", "sections", "legs"))
    said = "1 of 10 rides, 2 of 100, 16 of 1,000, 64 from 2,048 on"
    assert said in " ".join(TEXT.split())
    assert [most_rides(rides) for rides in (10, 100, 1000, 2047, 2048)] == [1, 2, 16, 32, 64]
