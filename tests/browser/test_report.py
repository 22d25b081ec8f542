"""The report in a real browser."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.conftest import DESK, PHONE, Open, write
from wherewatt.report.result import RideResult

if TYPE_CHECKING:
    from playwright.sync_api import FloatRect, Page

CHARTS = ("course", "profile", "battery", "sections", "causes")


def box(page: Page, name: str) -> FloatRect:
    found = page.locator(f"#chart-{name}").bounding_box()
    assert found is not None
    return found


@pytest.mark.parametrize("width", [PHONE, DESK])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_page_opens_without_a_complaint_and_without_a_request(
    page_file: Path, open_page: Open, width: int, scheme: str
) -> None:
    visit = open_page(page_file, width, color_scheme=scheme)
    for name in CHARTS:
        visit.page.wait_for_selector(f"#chart-{name} svg.main-svg")
    assert visit.complaints == []
    outside = [url for url in visit.requests if not url.startswith(("file:", "data:"))]
    assert outside == []
    assert [url for url in visit.requests if url.startswith("file:")] == [page_file.as_uri()]
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= width


def test_policy_stops_what_the_page_did_not_bring(page_file: Path, open_page: Open) -> None:
    visit = open_page(page_file)
    ran = visit.page.evaluate(
        """() => {
            const script = document.createElement('script');
            script.textContent = 'window.ran = true';
            document.body.append(script);
            return window.ran === true;
        }"""
    )
    assert not ran
    assert any("Content Security Policy" in complaint for complaint in visit.complaints)


def test_units_switch_without_loading_anew(page_file: Path, open_page: Open) -> None:
    """A mile is 1609.344 m (international yard and pound agreement, 1959)."""
    page = open_page(page_file).page
    distance = page.locator(".answer tbody tr").first.locator(".value")
    km = float(distance.inner_text().removesuffix(" km"))
    page.keyboard.press("Tab")
    page.check("input[name=unit][value=mi]")
    mi = float(distance.inner_text().removesuffix(" mi"))
    assert mi == pytest.approx(km / 1.609344, abs=0.006)
    assert "mi" in page.inner_text("#readout")
    titles = page.locator("#chart-profile .xtitle, #chart-profile .ytitle").all_text_contents()
    assert sorted(titles) == ["Distance [mi]", "Height [ft]"]
    assert "Wh/km" not in page.inner_text("main")
    page.check("input[name=unit][value=km]")
    assert "Wh/mi" not in page.inner_text("main")
    assert page.evaluate("localStorage.length + document.cookie.length") == 0


def test_one_place_is_marked_in_all_three_charts(page_file: Path, open_page: Open) -> None:
    page = open_page(page_file).page
    assert page.locator(".mark:visible").count() == 0
    page.locator("#chart-profile").scroll_into_view_if_needed()
    frame = box(page, "profile")
    page.mouse.move(frame["x"] + frame["width"] / 2, frame["y"] + 100)
    assert page.locator(".mark:visible").count() == 3
    carried = json.loads(page.text_content("#carried") or "")
    half = carried["ride"]["distance_m"][-1] / 2000.0
    said = float(page.locator("#readout b").inner_text().split()[0])
    assert said == pytest.approx(half, rel=0.06)
    left = [
        page.locator(f"#chart-{name} ~ .mark").bounding_box() for name in ("profile", "battery")
    ]
    assert left[0] is not None
    assert left[1] is not None
    assert left[0]["x"] == pytest.approx(left[1]["x"], abs=0.5)


def test_keys_step_along_the_ride(
    page_file: Path, open_page: Open, simulated_result: RideResult
) -> None:
    page = open_page(page_file).page
    page.locator("#chart-battery").locator("..").focus()

    def press(key: str) -> str:
        page.keyboard.press(key)
        return page.inner_text("#readout")

    start_km = simulated_result.sections.edge_m[1] / 1000.0
    assert "section 1," in press("ArrowRight")
    second = press("PageDown")
    assert "section 2," in second
    assert float(second.split()[0]) == pytest.approx(start_km, abs=0.011)
    assert f"section {len(simulated_result.sections)}," in press("End")
    assert press("Home").startswith("0.00 km")
    page.locator("#spoken").filter(has_text="0.00 km, section 1,").wait_for(state="attached")
    slider = page.locator("#place")
    slider.focus()
    press("ArrowRight")
    assert (slider.get_attribute("aria-valuetext") or "").split(",")[0] != "0.00 km"


def test_dragging_shows_a_stretch_in_both_charts(page_file: Path, open_page: Open) -> None:
    page = open_page(page_file).page
    page.locator("#chart-battery").scroll_into_view_if_needed()
    frame = box(page, "battery")
    page.mouse.move(frame["x"] + 300, frame["y"] + 100)
    page.mouse.down()
    page.mouse.move(frame["x"] + 500, frame["y"] + 110, steps=4)
    page.mouse.up()
    page.wait_for_selector("#whole:visible")
    shown = [
        page.evaluate(f"document.getElementById('chart-{name}').layout.xaxis.range")
        for name in ("profile", "battery")
    ]
    assert shown[0] == shown[1]
    assert shown[0][0] > 0.0
    page.click("#whole")
    assert page.evaluate("document.getElementById('chart-profile').layout.xaxis.range[0]") == 0


def test_course_can_be_told_by_surface(page_file: Path, open_page: Open) -> None:
    page = open_page(page_file).page
    legend = page.locator("[data-colouring=surface]")
    assert not legend.is_visible()
    page.check("input[value=surface]")
    assert legend.is_visible()
    assert not page.locator("[data-colouring=consumption]").is_visible()


def test_a_name_and_texts_that_are_script_do_nothing(
    hostile_result: RideResult, open_page: Open, tmp_path: Path
) -> None:
    visit = open_page(write(hostile_result, tmp_path))
    page = visit.page
    for name in CHARTS:
        page.wait_for_selector(f"#chart-{name} svg.main-svg")
    page.check("input[value=surface]")
    page.locator("#place").focus()
    page.keyboard.press("PageDown")
    assert visit.complaints == []
    assert page.locator("img, iframe, main script").count() == 0
    assert page.inner_text("h1").startswith("Energy report: <img src=x onerror=alert(1)>")
    assert "<script>alert(2)</script>" in page.inner_text("#sections")
    assert all(url.startswith(("file:", "data:")) for url in visit.requests)


def test_a_ride_without_call_outs_opens(
    handbook_result: RideResult, open_page: Open, tmp_path: Path
) -> None:
    visit = open_page(write(handbook_result, tmp_path), PHONE)
    visit.page.wait_for_selector("#chart-battery svg.main-svg")
    assert visit.complaints == []
    assert "left" not in visit.page.inner_text("#readout")


def test_without_scripts_the_tables_are_there(page_file: Path, open_page: Open) -> None:
    page = open_page(page_file, java_script_enabled=False).page
    assert page.locator(".frame").first.is_hidden()
    assert page.locator("#sections tbody tr").first.is_visible()
    assert "need a script" in page.inner_text("main")


def test_page_prints_on_white_with_all_of_its_charts(page_file: Path, open_page: Open) -> None:
    page = open_page(page_file, PHONE, color_scheme="dark").page
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    drawing = page.locator("#chart-profile svg.main-svg").first
    assert drawing.get_attribute("width") == "680"
    tick = page.locator("#chart-profile .xtick text").first
    assert tick.evaluate("element => getComputedStyle(element).fill") == "rgb(0, 0, 0)"
    assert page.locator(".bar").is_hidden()
    page.emulate_media(media="screen", color_scheme="dark")
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert int(drawing.get_attribute("width") or 0) <= PHONE
