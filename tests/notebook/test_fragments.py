"""What a cell shows: well formed, closed in itself, safe, and the same numbers as the report."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np
import pytest

import wherewatt
from tests.browser.tag_support import launched
from tests.report.conftest import HOSTILE_NAME, HOSTILE_TEXT, handbook_result, hostile_result
from wherewatt.ingest.track import Note
from wherewatt.notebook.drawing import HEIGHT, WIDTH, draw_course, draw_profile
from wherewatt.report import view
from wherewatt.report.profile_data import profile_data
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUTION_LINE, HANDBOOK_WARNING, INTERVAL_LINE
from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    from playwright.sync_api import Browser

__all__ = ["handbook_result", "hostile_result"]  # fixtures of another folder

KM = DistanceUnit.KM


class Fragment(HTMLParser):
    """Elements must be closed in order, but for those that HTML leaves open."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text = ""
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)
        self._met(tag, attrs)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._met(tag, attrs)

    def _met(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data


def shown(report: wherewatt.RideReport, result: RideResult) -> str:
    """What a report of another result would show."""
    return replace(report, result=result)._repr_html_()


@pytest.fixture(scope="module")
def fragments(ride: wherewatt.RecordedRide, report: wherewatt.RideReport) -> list[str]:
    return [ride._repr_html_(), report._repr_html_()]


def test_fragments_are_closed_in_themselves(fragments: list[str]) -> None:
    for html in fragments:
        fragment = Fragment(html)
        assert not re.search(r"https?:|//[a-z]|@import|url\(", html)
        assert not {"script", "link", "img", "iframe", "html", "body"} & set(fragment.tags)
        assert not {"src", "href", "id"} & {name for name, _ in fragment.attributes}
        assert html.startswith('<div class="wherewatt">')
        assert len(html) < 200_000


def test_style_reaches_nothing_else(fragments: list[str]) -> None:
    for html in fragments:
        (style,) = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
        selectors = [each for rule in re.findall(r"([^{}]+)\{", style) for each in rule.split(",")]
        assert all(".wherewatt" in selector for selector in selectors)


def test_report_shows_the_answer(report: wherewatt.RideReport) -> None:
    text = Fragment(report._repr_html_()).text
    for quantity in view.headline(report.result, KM):
        assert quantity.value in text
        assert quantity.interval in text
    rows = view.section_rows(report.result, KM)
    assert all(row.span in text for row in rows)
    assert all(warning in text for warning in view.warnings(report.result))
    assert CAUTION_LINE in text
    assert INTERVAL_LINE in text
    assert HANDBOOK_WARNING not in text


def test_handbook_is_named_first(report: wherewatt.RideReport, handbook_result: RideResult) -> None:
    html = shown(report, handbook_result)
    assert HANDBOOK_WARNING in Fragment(html).text
    assert "Energy used, Wh" in html
    assert "whole ride" in html


def test_texts_of_files_stay_texts(
    ride: wherewatt.RecordedRide, report: wherewatt.RideReport, hostile_result: RideResult
) -> None:
    hostile_ride = replace(
        ride, recording=hostile_result.recording, notes=(Note("hostile", HOSTILE_TEXT),)
    )
    for html in (shown(report, hostile_result), hostile_ride._repr_html_()):
        fragment = Fragment(html)
        assert not {"script", "img"} & set(fragment.tags)
        assert not [name for name, _ in fragment.attributes if name.startswith("on")]
        assert "\x1b" not in html
        assert HOSTILE_TEXT.removeprefix("<script>") in fragment.text
        assert HOSTILE_NAME.partition("\x1b")[0] in fragment.text
    assert "\x1b" not in repr(hostile_ride)
    assert "\x1b" not in repr(replace(report, result=hostile_result))


def test_ride_shows_what_it_is(ride: wherewatt.RecordedRide) -> None:
    text = Fragment(ride._repr_html_()).text
    length = ride.points["distance_m"].iloc[-1] / 1000.0
    assert f"{length:.2f} km" in text
    assert f"{len(ride.points)} points, 1 s apart" in text
    assert "7 call-outs" in text
    assert repr(ride).splitlines()[0] == "harbour_commute"
    assert len(repr(ride).splitlines()) < 10


def test_pictures_are_well_formed(fragments: list[str]) -> None:
    for html in fragments:
        for picture in re.findall(r"<svg.*?</svg>", html, re.DOTALL):
            svg = ElementTree.fromstring(picture)
            assert svg.get("role") == "img"
            assert svg.get("aria-label")


def coordinates(path: str) -> np.ndarray:
    return np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", path), dtype=float)


def test_profile_lies_in_its_picture(report: wherewatt.RideReport) -> None:
    drawing = draw_profile(profile_data(report.result, KM), charge_told=True)
    for path in (drawing.height, drawing.battery, drawing.band, *(p for _, p in drawing.grounds)):
        x, y = coordinates(path).T
        assert 0.0 <= x.min() <= x.max() <= WIDTH
        assert 0.0 <= y.min() <= y.max() <= HEIGHT
    assert len(drawing.marks) == len(report.callouts)
    assert {name for name, _ in drawing.grounds} == set(report.sections["terrain"])


def test_ticks_stand_at_their_values(report: wherewatt.RideReport) -> None:
    """Two ticks fix the scale: the line must end where the ride does."""
    drawing = draw_profile(profile_data(report.result, KM), charge_told=True)
    at, value = np.array([(float(t.at), float(t.label)) for t in drawing.distances]).T
    scale = np.polyfit(at, value, 1)
    end = np.polyval(scale, coordinates(drawing.height)[-1, 0])
    assert end == pytest.approx(report.sections["end_km"].iloc[-1], abs=0.01)
    steps = np.diff(value)
    assert steps == pytest.approx(steps[0])
    level = np.array([(float(t.at), float(t.label)) for t in drawing.levels])
    left = 100.0 * report.result.remaining[0][-1]
    assert np.polyval(np.polyfit(*level.T, 1), coordinates(drawing.battery)[-1, 1]) == (
        pytest.approx(left, abs=0.5)
    )


def test_course_keeps_its_shape(ride: wherewatt.RecordedRide) -> None:
    """Its length by the scale bar is that of the ride, but for bends too small to draw."""
    drawing = draw_course(ride.ride)
    xy = coordinates(drawing.path)
    bar_km = float(drawing.bar_label.removesuffix(" km"))
    length_km = np.hypot(*np.diff(xy, axis=0).T).sum() * bar_km / float(drawing.bar)
    assert length_km == pytest.approx(ride.points["distance_m"].iloc[-1] / 1000.0, rel=0.05)
    north = ride.points["latitude_deg"].to_numpy()
    assert xy[:, 1].argmin() / len(xy) == pytest.approx(north.argmax() / len(north), abs=0.2)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as browser:
        yield browser


@pytest.mark.parametrize("dark", [False, True])
def test_browser_draws_it_on_any_paper(
    dark: bool, fragments: list[str], tmp_path: Path, browser: Browser
) -> None:
    """The colour of what is drawn follows the notebook's; nothing is asked of the network."""
    theme = ' data-jp-theme-light="false"' if dark else ""
    ink = "rgb(221, 221, 221)" if dark else "rgb(17, 17, 17)"
    html = f'<meta charset="utf-8"><body{theme} style="color:{ink}">{"".join(fragments)}'
    page_file = tmp_path / "page.html"
    page_file.write_text(html, encoding="utf-8")
    page = browser.new_page()
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.goto(page_file.as_uri())
    lines = page.eval_on_selector_all(
        ".wherewatt svg path", "all => all.map(one => getComputedStyle(one).stroke)"
    )
    assert requests == [page_file.as_uri()]
    page.close()
    assert ink in lines
    assert ("rgb(86, 180, 233)" if dark else "rgb(0, 114, 178)") in lines  # Okabe and Ito 2008


def test_numbers_of_sections_do_not_touch(report: wherewatt.RideReport) -> None:
    drawing = draw_profile(profile_data(report.result, KM), charge_told=True)
    places = [float(tick.at) for tick in drawing.numbers]
    assert all(after - before >= 16.0 for before, after in pairwise(places))
