"""The page: well formed, closed in itself, and its tables add up as printed."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest

from wherewatt.allocate.ledger import Measure
from wherewatt.report.page import render_page
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUTIONS, HANDBOOK_WARNING, NO_RANGE
from wherewatt.units import DistanceUnit

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Page(HTMLParser):
    """What a test asks of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: Counter[str] = Counter()
        self.attributes: list[tuple[str, str, str]] = []
        self.headings: list[int] = []
        self.tables: list[list[list[str]]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "table":
            self.tables.append([])
        if tag == "tr":
            self.tables[-1].append([])
        if tag in ("td", "th"):
            self.tables[-1][-1].append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.open and self.open[-1] in ("td", "th"):
            self.tables[-1][-1][-1] += data.strip()

    def values(self, name: str) -> list[str]:
        return [value for _, attribute, value in self.attributes if attribute == name]

    def table(self, heading: str) -> list[list[str]]:
        return next(table for table in self.tables if table[0][0] == heading)


def as_number(text: str) -> float:
    return float(text.replace("−", "-"))


def column(table: list[list[str]], heading: str) -> list[float]:
    index = table[0].index(heading)
    return [as_number(row[index]) for row in table[1:]]


@pytest.fixture(scope="module")
def html(simulated_result: RideResult) -> str:
    return render_page(simulated_result, DistanceUnit.KM)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return Page(html)


def test_every_element_is_closed(page: Page) -> None:
    assert page.open == []


def test_nothing_is_fetched_and_nothing_runs(html: str, page: Page) -> None:
    assert not re.search(r"https?:|//[a-z]|@import", html)
    assert page.tags["script"] == page.tags["link"] == page.tags["img"] == 0
    outside = [value for name in ("src", "href") for value in page.values(name)]
    assert all(value.startswith("#") for value in outside)
    assert all(match.startswith("#") for match in re.findall(r"url\(([^)]*)\)", html))


def test_ids_are_unique_and_references_are_met(html: str, page: Page) -> None:
    ids = Counter(page.values("id"))
    assert max(ids.values()) == 1
    wanted = set(re.findall(r"url\(#([^)]*)\)", html))
    wanted |= {value[1:] for value in page.values("href")} | set(page.values("aria-labelledby"))
    assert wanted <= set(ids)


def test_page_is_accessible(page: Page) -> None:
    assert page.values("lang") == ["en"]
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(page.headings))
    assert page.tags["caption"] == page.tags["table"]
    assert all(page.values("aria-label"))
    assert page.values("role").count("img") == page.tags["svg"] == 2


def test_sections_add_up_as_printed(page: Page) -> None:
    table = page.table("#")
    for heading in ("Energy, Wh", "Share, %", "Length, km"):
        *rows, total = column(table, heading)
        assert sum(rows) == pytest.approx(total, abs=1e-6)


def test_causes_add_up_as_printed(page: Page) -> None:
    table = page.table("Cause")
    for heading in ("Energy, Wh", "Share, %"):
        *rows, total = column(table, heading)
        assert sum(rows) == pytest.approx(total, abs=1e-6)


def test_totals_of_both_tables_agree(page: Page) -> None:
    sections, causes = page.table("#"), page.table("Cause")
    assert column(sections, "Energy, Wh")[-1] == column(causes, "Energy, Wh")[-1]


def test_every_section_call_out_and_parameter_has_its_row(
    simulated_result: RideResult, page: Page
) -> None:
    assert len(page.table("#")) == len(simulated_result.sections) + 2
    assert len(page.table("At, km")) == len(simulated_result.estimate.evidence.shown) + 1
    parameters = simulated_result.estimate.evidence.parameters
    assert len(page.table("Parameter")) == len(parameters) + 1


def test_cautions_are_said(page: Page) -> None:
    for caution in CAUTIONS:
        assert caution in page.text


def test_miles(simulated_result: RideResult, page: Page) -> None:
    miles = Page(render_page(simulated_result, DistanceUnit.MI))
    km, mi = (table[-1] for table in (page.table("#"), miles.table("#")))
    assert as_number(km[2]) == pytest.approx(1.609344 * as_number(mi[2]), abs=0.02)
    assert "Wh/mi" in miles.text
    assert "Wh/km" not in miles.text
    assert column(miles.table("#"), "Energy, Wh") == column(page.table("#"), "Energy, Wh")


def test_text_from_files_stays_text(hostile_result: RideResult) -> None:
    html = render_page(hostile_result, DistanceUnit.KM)
    hostile = Page(html)
    assert hostile.tags["script"] == hostile.tags["img"] == 0
    assert "\x1b" not in html
    assert "<img src=x onerror=alert(1)>" in hostile.text
    assert "<script>alert(2)</script> [bold]$x^2$" in hostile.text


def test_a_handbook_estimate_says_so_before_any_number(handbook_result: RideResult) -> None:
    page = Page(render_page(handbook_result, DistanceUnit.KM))
    assert HANDBOOK_WARNING in page.text
    assert page.text.index(HANDBOOK_WARNING) < page.text.index("Energy from the battery")
    assert "nothing is known of what was left" in page.text


def test_a_measured_ride_is_not_called_a_handbook_estimate(page: Page) -> None:
    assert HANDBOOK_WARNING not in page.text


def test_no_finite_range(simulated_result: RideResult) -> None:
    ledger = replace(simulated_result.ledger, full_charge_km=Measure(np.inf, np.inf))
    page = Page(render_page(replace(simulated_result, ledger=ledger), DistanceUnit.KM))
    assert NO_RANGE in page.text
    assert "inf" not in page.table("Quantity")[4][1].split()
    assert "nan" not in page.text


def test_the_same_ride_gives_the_same_page(simulated_result: RideResult, html: str) -> None:
    assert render_page(simulated_result, DistanceUnit.KM) == html
