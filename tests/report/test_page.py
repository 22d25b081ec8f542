"""The page: well formed, closed in itself, and its tables add up as printed."""

from __future__ import annotations

import json
import re
from base64 import b64encode
from collections import Counter
from dataclasses import replace
from hashlib import sha256
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from tests.report.conftest import HOSTILE_TEXT
from wherewatt.allocate.ledger import Measure
from wherewatt.report.chart_script import chart_library
from wherewatt.report.page import render_page
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUTIONS, HANDBOOK_WARNING, NO_RANGE
from wherewatt.units import DistanceUnit

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Page(HTMLParser):
    """What a test asks of a page, as it reads in one unit; scripts and styles are no text."""

    def __init__(self, html: str, unit: str = "km") -> None:
        super().__init__()
        self.hidden_class = "mi" if unit == "km" else "km"
        self.open: list[tuple[str, bool]] = []
        self.tags: Counter[str] = Counter()
        self.attributes: list[tuple[str, str, str]] = []
        self.headings: list[int] = []
        self.tables: list[list[list[str]]] = []
        self.scripts: list[tuple[str, str]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        given = dict(attrs)
        if tag not in VOID:
            hidden = tag in ("script", "style") or given.get("class") == self.hidden_class
            self.open.append((tag, hidden))
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "table":
            self.tables.append([])
        if tag == "tr":
            self.tables[-1].append([])
        if tag in ("td", "th"):
            self.tables[-1][-1].append("")
        if tag == "script":
            self.scripts.append((given.get("type") or "", ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop()[0] == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1][0] == "script":
            kind, text = self.scripts[-1]
            self.scripts[-1] = (kind, text + data)
        if any(hidden for _, hidden in self.open):
            return
        self.text += data
        if any(tag in ("td", "th") for tag, _ in self.open):
            self.tables[-1][-1][-1] += data.strip()

    def values(self, name: str) -> list[str]:
        return [value for _, attribute, value in self.attributes if attribute == name]

    def table(self, heading: str) -> list[list[str]]:
        return next(table for table in self.tables if table[0][0] == heading)

    def carried(self) -> dict[str, Any]:
        return json.loads(next(text for kind, text in self.scripts if kind == "application/json"))


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


@pytest.fixture(scope="module")
def miles(html: str) -> Page:
    return Page(html, "mi")


def test_every_element_is_closed(page: Page) -> None:
    assert page.open == []


def test_nothing_is_fetched(html: str, page: Page) -> None:
    own = html.replace(chart_library(), "")
    assert not re.search(r"https?:|//[a-z]|@import|url\(", own)
    assert page.tags["link"] == page.tags["img"] == page.tags["iframe"] == 0
    assert not page.values("src")
    assert not page.values("href")


def test_policy_allows_the_scripts_of_the_page_and_no_others(page: Page) -> None:
    """The hash is computed here as the W3C's Content Security Policy Level 3, 6.7.3.3, says."""
    policy = next(value for value in page.values("content") if "script-src" in value)
    assert policy.startswith("default-src 'none';")
    allowed = re.findall(r"'sha256-([^']*)'", policy)
    running = [text for kind, text in page.scripts if kind != "application/json"]
    hashes = [b64encode(sha256(text.encode()).digest()).decode() for text in running]
    assert sorted(allowed) == sorted(hashes)
    assert "unsafe-eval" not in policy
    assert not [name for _, name, _ in page.attributes if name.startswith("on")]


def test_ids_are_unique_and_references_are_met(page: Page) -> None:
    ids = Counter(page.values("id"))
    assert max(ids.values()) == 1
    assert set(page.values("aria-labelledby")) <= set(ids)


def test_page_is_accessible(page: Page) -> None:
    assert page.values("lang") == ["en"]
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(page.headings))
    assert page.tags["caption"] == page.tags["table"]
    assert all(page.values("aria-label"))
    assert page.values("role").count("img") == len(page.carried()["charts"]) == 5
    assert page.values("scope").count("col") == sum(len(table[0]) for table in page.tables)
    assert page.tags["figcaption"] == page.tags["figure"] == 5


def test_sections_add_up_as_printed(page: Page, miles: Page) -> None:
    for table, length in ((page.table("#"), "Length, km"), (miles.table("#"), "Length, mi")):
        for heading in ("Energy, Wh", "Share, %", length):
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


def test_both_units_are_on_the_page(page: Page, miles: Page) -> None:
    """A mile is 1609.344 m and a foot 0.3048 m (international yard and pound agreement, 1959)."""
    km, mi = page.table("#"), miles.table("#")
    for metric, other, size in (
        ("Length, km", "Length, mi", 1.609344),
        ("Up, m", "Up, ft", 0.3048),
        ("Speed, km/h", "Speed, mph", 1.609344),
        ("Wh/km", "Wh/mi", 1 / 1.609344),
    ):
        ours, theirs = column(km, metric), column(mi, other)
        assert theirs == pytest.approx([value / size for value in ours], abs=2.0, rel=0.02)
        assert ours != theirs
    assert column(mi, "Energy, Wh") == column(km, "Energy, Wh")
    assert "Wh/km" not in miles.text
    assert "Wh/mi" not in page.text


def test_page_opens_in_the_unit_that_was_asked_for(simulated_result: RideResult, html: str) -> None:
    other = render_page(simulated_result, DistanceUnit.MI)
    assert Page(html).values("data-unit") == ["km"]
    assert Page(other).values("data-unit") == ["mi"]


def test_text_from_files_stays_text(hostile_result: RideResult) -> None:
    html = render_page(hostile_result, DistanceUnit.KM)
    hostile = Page(html)
    assert hostile.tags["img"] == 0
    assert len(hostile.scripts) == hostile.tags["script"] == 3
    assert "\x1b" not in html
    assert "<img src=x onerror=alert(1)>" in hostile.text
    assert HOSTILE_TEXT in hostile.text
    assert any(HOSTILE_TEXT in nature for nature in hostile.carried()["sections"])
    assert "<script>alert" not in html.replace(chart_library(), "")


def test_no_chart_takes_text_from_files_for_markup(hostile_result: RideResult) -> None:
    carried = Page(render_page(hostile_result, DistanceUnit.KM)).carried()
    drawn = json.dumps(carried["charts"], ensure_ascii=False)
    assert "&lt;script&gt;" in drawn
    assert "<script" not in drawn


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


def test_a_page_is_small_but_for_the_chart_library(html: str) -> None:
    """At most 1.5 MB; this ride is shorter than 90 minutes, but its charts are as full."""
    assert len(html.encode()) - len(chart_library().encode()) < 600_000
