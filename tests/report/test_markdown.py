"""The report as Markdown, read back by a Markdown parser."""

from __future__ import annotations

import pytest
from markdown_it import MarkdownIt

from tests.report.conftest import HOSTILE_TEXT
from wherewatt.report.markdown import markdown_overview, markdown_report
from wherewatt.report.overview import overview_row
from wherewatt.report.result import RideResult
from wherewatt.report.view import section_rows
from wherewatt.report.wording import HANDBOOK_WARNING
from wherewatt.units import DistanceUnit


def tables(markdown: str) -> list[list[list[str]]]:
    """Texts of the cells, as markdown-it-py reads them."""
    found: list[list[list[str]]] = []
    for token in MarkdownIt("commonmark").enable("table").parse(markdown):
        if token.type == "table_open":
            found.append([])
        elif token.type == "tr_open":
            found[-1].append([])
        elif token.type == "inline" and found and token.level >= 4:
            assert {child.type for child in token.children or ()} <= {"text", "text_special"}
            found[-1][-1].append("".join(child.content for child in token.children or ()))
    return found


@pytest.mark.parametrize("unit", list(DistanceUnit))
def test_tables_hold_what_the_page_holds(simulated_result: RideResult, unit: DistanceUnit) -> None:
    answer, sections, causes = tables(markdown_report(simulated_result, unit))
    assert answer[1][1].endswith(f" {unit}")
    rows = section_rows(simulated_result, unit)
    assert [row[1] for row in sections[1:-1]] == [row.span for row in rows]
    assert [row[5] for row in sections[1:-1]] == [row.energy for row in rows]
    assert sections[-1][5] == causes[-1][1]
    for table in (answer, sections, causes):
        assert len({len(row) for row in table}) == 1


def test_text_from_files_stays_text(hostile_result: RideResult) -> None:
    markdown = markdown_report(hostile_result, DistanceUnit.KM)
    html = MarkdownIt("commonmark").enable("table").render(markdown)
    assert "<script" not in html
    assert "<img" not in html
    assert "\x1b" not in html
    surfaces = {row[4] for row in tables(markdown)[1]}
    assert any(HOSTILE_TEXT in surface for surface in surfaces)


def test_a_handbook_estimate_says_so(handbook_result: RideResult) -> None:
    assert f"**{HANDBOOK_WARNING}**" in markdown_report(handbook_result, DistanceUnit.KM)


def test_several_rides(simulated_result: RideResult, handbook_result: RideResult) -> None:
    results = (simulated_result, handbook_result)
    rows = [overview_row(result, DistanceUnit.KM) for result in results]
    ((heading, *shown),) = tables(markdown_overview(rows, DistanceUnit.KM))
    assert heading[0] == "Ride"
    assert [tuple(row) for row in shown] == rows
