"""docs/formats.md says what the code does."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest

from wherewatt.columns import LEG_COLUMNS, SECTION_COLUMNS, Column
from wherewatt.ingest import TRACK_ENDINGS, read_track, readings, tags
from wherewatt.ingest.gpx_fields import CHILDREN, QUANTITY_OF
from wherewatt.ingest.log import LOG_COLUMNS
from wherewatt.ingest.log_table import ELAPSED, TIME
from wherewatt.ingest.sheet import KEYS, Range
from wherewatt.ingest.source import Limits
from wherewatt.report.result import RideResult
from wherewatt.report.tables import summary
from wherewatt.units import SUFFIXES

TEXT = (Path(__file__).parents[1] / "docs" / "formats.md").read_text(encoding="utf-8")


def rows(heading: str) -> list[list[str]]:
    """Cells of the first table under a heading, without its header."""
    after = re.split(rf"^#+ {re.escape(heading)}$", TEXT, flags=re.MULTILINE)
    assert len(after) == 2, heading
    table = re.search(r"(?:^\|.*\n)+", after[1], re.MULTILINE)
    assert table, heading
    lines = table[0].splitlines()[2:]
    return [[cell.strip().strip("`") for cell in line.strip("|").split("|")] for line in lines]


def names(heading: str) -> list[str]:
    return [row[0] for row in rows(heading)]


def test_columns_a_user_writes() -> None:
    assert names("CSV log") == [TIME, ELAPSED, *LOG_COLUMNS]
    assert names("`ride.readings.csv`: call-outs") == [*readings.REQUIRED, *readings.OPTIONAL]
    assert names("`ride.surface.csv`: tags") == [*tags.REQUIRED, *tags.OPTIONAL]


def test_keys_of_the_ride_sheet() -> None:
    documented = {row[0]: row[2:] for row in rows("`ride.toml`: ride sheet")}
    rules = {f"{table}.{key}": rule for table, keys in KEYS.items() for key, rule in keys.items()}
    assert list(documented) == list(rules)
    for key, rule in rules.items():
        low, high = documented[key]
        if isinstance(rule, Range):
            assert (float(low), float(high)) == (rule.low, rule.high), key
        else:
            assert (low, high) == ("", ""), key
    assert all(f"`_{suffix}`" in TEXT for suffix in SUFFIXES)


def test_limits() -> None:
    documented = {row[0]: int(row[1]) for row in rows("Limits")}
    assert documented == {field.name: getattr(Limits(), field.name) for field in fields(Limits)}


def test_track_formats() -> None:
    assert all(f"`ride{end}`" in TEXT for end in TRACK_ENDINGS if not end.endswith(".gz"))
    (gpx,) = (row[1] for row in rows("Tracks") if row[0].startswith("GPX"))
    written = {name.lower() for name in re.findall(r"`(\w+)`", gpx)}
    assert written == {*CHILDREN, *QUANTITY_OF, "trkpt", "lat", "lon"}


def test_the_log_shown_can_be_read(tmp_path: Path) -> None:
    shown = re.search(r"```csv\n(.*?)```", TEXT, re.DOTALL)
    assert shown
    path = tmp_path / "ride.csv"
    path.write_text(shown[1], encoding="utf-8")
    track = read_track(path)
    assert len(track) == 2
    assert track.notes == ()


@pytest.mark.parametrize(
    ("heading", "columns"), [("`sections.csv`", SECTION_COLUMNS), ("`legs.parquet`", LEG_COLUMNS)]
)
def test_columns_a_user_gets(heading: str, columns: tuple[Column, ...]) -> None:
    assert rows(heading) == [[column.name, column.unit, column.meaning] for column in columns]


def test_summary(simulated_result: RideResult) -> None:
    assert names("`summary.json`") == list(summary(simulated_result))


def test_codes_of_notes_are_real() -> None:
    """Every code in the table of damage is one that a reader gives."""
    ingest = Path(__file__).parents[1] / "src" / "wherewatt" / "ingest"
    code = "".join(path.read_text(encoding="utf-8") for path in sorted(ingest.glob("*.py")))
    for row in rows("Damaged files"):
        for name in re.findall(r"[a-z]+(?:-[a-z]+)+", row[2]):
            assert f'"{name}"' in code, name
