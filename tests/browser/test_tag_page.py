"""The tagging page in a real browser, as a rider would use it, and as a stranger would."""

from __future__ import annotations

import contextlib
import http.server
import re
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.tag_support import TagPage, launched, opened
from tests.tagging.running import sample_session
from wherewatt.config import load_config, shipped_folder
from wherewatt.pipeline import open_tiles
from wherewatt.tagging.serve import open_session
from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with launched() as browser:
        yield browser


@pytest.fixture
def tag_page(chromium: Browser, tmp_path: Path) -> Iterator[TagPage]:
    """The page of a sample ride; whatever a test does, nothing goes wrong in it."""
    with opened(chromium, tmp_path) as tag_page:
        yield tag_page
        assert tag_page.complaints == []


def expect_status(tag_page: TagPage, words: str) -> None:
    pattern = re.compile(words)
    tag_page.page.locator("#status").filter(has_text=pattern).wait_for(timeout=20_000.0)


def until(is_so: Callable[[], bool]) -> None:
    """Wait for something; the page's policy forbids to evaluate text in it."""
    until_s = time.monotonic() + 8.0
    while not is_so():
        assert time.monotonic() < until_s, "waited in vain"
        time.sleep(0.02)


def test_drag_tag_save_and_report(tag_page: TagPage, tmp_path: Path) -> None:
    before = tag_page.csv.splitlines()
    tag_page.drag(5200.0, 5800.0)
    start, end = tag_page.chosen()
    assert start == pytest.approx(5.2, abs=0.02)  # a pixel is 12 m
    assert end == pytest.approx(5.8, abs=0.02)
    tag_page.press("sand")
    expect_status(tag_page, "sand")
    assert tag_page.csv.splitlines() == before  # nothing is written unasked
    tag_page.press("Save")
    expect_status(tag_page, r"Saved to harbour_commute\.surface\.csv")
    after = tag_page.csv.splitlines()
    new = [line for line in after if line not in before]
    assert len(new) == 3
    assert new[0].startswith("4.906 km,")
    assert new[0].endswith(",worn_asphalt,")
    assert re.fullmatch(r"5\.[12]\d\d km,5\.[78]\d\d km,sand,", new[1])
    assert new[2].endswith(",6.344 km,worn_asphalt,")
    assert [line for line in before if line not in after] == ["4.906 km,6.344 km,worn_asphalt,"]
    tag_page.press("Report again")
    expect_status(tag_page, r"Reported: \d+ Wh")
    sections = (tmp_path / "reports/harbour_commute/sections.csv").read_text(encoding="utf-8")
    assert ",sand," in sections
    with tag_page.page.context.expect_page() as shown:
        tag_page.page.get_by_role("link", name="Open the report").click()
    report = shown.value
    assert "harbour_commute" in report.title()
    assert report.evaluate("window.origin") == "null"  # a stranger to the server


def test_bar_and_course_show_the_tag(tag_page: TagPage) -> None:
    tag_page.drag(1000.0, 1700.0)
    tag_page.press("cobbles")
    expect_status(tag_page, "cobbles")
    bar = tag_page.page.locator(".tag[data-label=cobbles]")
    assert re.match(r"cobbles, (0\.9|1\.0)\d to 1\.[67]\d km", bar.locator("title").text_content())
    cobbles = list(load_config().surfaces).index("cobbles")
    assert tag_page.page.locator(f"#course path[stroke='url(#course-{cobbles})']").count() == 1
    assert tag_page.page.get_by_role("cell", name="cobbles", exact=True).count() == 1


def test_snaps_to_an_edge_that_is_near(tag_page: TagPage) -> None:
    edge = float(
        tag_page.client.ask("GET", "/api/tags", cookie=cookie(tag_page)).document["tags"][
            "surface"
        ][0][1]
    )
    tag_page.drag(edge + 40.0, 2300.0)
    assert tag_page.chosen()[0] == pytest.approx(edge / 1000.0, abs=6e-4)


def cookie(tag_page: TagPage) -> str:
    (found,) = tag_page.page.context.cookies()
    return f"{found['name']}={found['value']}"


def test_two_clicks_and_the_handles(tag_page: TagPage) -> None:
    tag_page.page.mouse.click(tag_page.x(7000.0), tag_page.pad.bounding_box()["y"] + 50.0)
    expect_status(tag_page, "Now the other end")
    tag_page.page.mouse.click(tag_page.x(7600.0), tag_page.pad.bounding_box()["y"] + 50.0)
    assert tag_page.chosen() == pytest.approx((7.0, 7.6), abs=0.03)
    tag_page.press("gravel")
    expect_status(tag_page, "gravel")
    handle = tag_page.page.locator("[data-focus=handle-end]")
    box = handle.bounding_box()
    tag_page.page.mouse.move(box["x"] + box["width"] / 2.0, box["y"] + 30.0)
    tag_page.page.mouse.down()
    tag_page.page.mouse.move(tag_page.x(7800.0), box["y"] + 30.0, steps=4)
    tag_page.page.mouse.up()
    until(lambda: tag_page.chosen()[1] > 7.75)
    title = tag_page.page.locator(".tag[data-label=gravel] title")
    until(lambda: re.search(r"7\.\d\d to 7\.[78]\d km", title.text_content()))


def test_keys_alone(tag_page: TagPage) -> None:
    """From the profile: mark both ends, choose, undo, redo, move an end, save."""
    page = tag_page.page
    tag_page.pad.focus()
    page.keyboard.press("Home")
    for _ in range(3):
        page.keyboard.press("PageUp")
    page.keyboard.press("Enter")
    for _ in range(4):
        page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Enter")
    assert tag_page.chosen() == (3.0, 3.4)
    page.keyboard.press("9")
    expect_status(tag_page, "3.00 to 3.40 km: sand")
    page.keyboard.press("Control+z")
    assert page.locator(".tag[data-label=sand]").count() == 0
    page.keyboard.press("Control+Shift+z")
    assert page.locator(".tag[data-label=sand]").count() == 1
    page.keyboard.press("t")
    expect_status(tag_page, "tunnel")
    page.locator("[data-focus=handle-start]").focus()
    page.keyboard.press("ArrowLeft")
    until(lambda: tag_page.chosen()[0] == 2.99)
    assert page.evaluate("document.activeElement.dataset.focus") == "handle-start"
    page.keyboard.press("Control+s")
    expect_status(tag_page, "Saved")
    assert re.search(r"\n3\.00\d km,3\.40\d km,sand,\n", tag_page.csv)
    assert re.search(r"\n2\.99\d km,3\.40\d km,,tunnel\n", tag_page.csv)
    readout = tag_page.pad.get_attribute("aria-valuetext")
    assert re.match(r"3\.40 km · 0:\d\d:\d\d · \d+ m · ", readout)


def test_typed_ends(tag_page: TagPage) -> None:
    page = tag_page.page
    page.get_by_label("mi", exact=True).check()
    page.fill("#from", "1,5")
    page.fill("#to", "0:12:00")
    page.keyboard.press("Tab")
    start, end = tag_page.chosen()
    assert start == 1.5
    assert 2.0 < end < 4.0
    page.fill("#to", "900")
    page.keyboard.press("Tab")
    page.locator("#field-problem", has_text="The ride ends at 8.8").wait_for()
    page.fill("#to", "2.5 km")
    page.keyboard.press("Tab")
    tag_page.press("dirt")
    expect_status(tag_page, r"1\.50 to 1\.55 mi: dirt")


def test_delete_and_no_tag(tag_page: TagPage) -> None:
    rows = tag_page.page.locator("#list tr")
    before = rows.count()
    tag_page.page.get_by_role("button", name="Delete: bridge").click()
    expect_status(tag_page, "taken away")
    assert rows.count() == before - 1
    tag_page.page.locator(".tag[data-label=paving]").first.click()
    tag_page.pad.focus()
    tag_page.page.keyboard.press("Delete")
    until(lambda: rows.count() == before - 2)


def changed_on_disk(tag_page: TagPage, old: str, new: str) -> None:
    (path,) = tag_page.folder.glob("*.surface.csv")
    path.write_text(tag_page.csv.replace(old, new), encoding="utf-8")


def test_conflict_edits_put_on_top(tag_page: TagPage) -> None:
    tag_page.drag(5200.0, 5800.0)
    tag_page.press("sand")
    expect_status(tag_page, "sand")
    changed_on_disk(tag_page, "0.000 km,1.762 km,asphalt", "0.000 km,1.762 km,grass")
    tag_page.press("Save")
    tag_page.page.locator("#conflict").wait_for()
    assert "sand" not in tag_page.csv
    tag_page.press("Read it, and put my edits on top")
    expect_status(tag_page, "with your edits on top")
    assert tag_page.page.locator(".tag[data-label=grass]").count() == 1
    tag_page.press("Save")
    expect_status(tag_page, "Saved")
    assert "km,grass," in tag_page.csv
    assert "km,sand," in tag_page.csv
    # The refused save is what the browser itself notes down.
    assert all("412" in one for one in tag_page.complaints)
    tag_page.complaints.clear()


def test_conflict_written_over(tag_page: TagPage) -> None:
    tag_page.drag(5200.0, 5800.0)
    tag_page.press("sand")
    expect_status(tag_page, "sand")
    changed_on_disk(tag_page, "0.000 km,1.762 km,asphalt", "0.000 km,1.762 km,lava")
    tag_page.press("Save")
    tag_page.page.locator("#conflict-problems", has_text="found surface 'lava'").wait_for()
    tag_page.press("Write mine over it")
    expect_status(tag_page, "Saved over")
    assert "lava" not in tag_page.csv
    assert "km,sand," in tag_page.csv
    assert all("412" in one for one in tag_page.complaints)
    tag_page.complaints.clear()


def test_clean_page_follows_the_file(tag_page: TagPage) -> None:
    changed_on_disk(tag_page, "0.000 km,1.762 km,asphalt", "0.000 km,1.762 km,grass")
    tag_page.page.evaluate("window.dispatchEvent(new Event('focus'))")
    expect_status(tag_page, "was changed on disk; read again")
    assert tag_page.page.locator(".tag[data-label=grass]").count() == 1


def test_place_is_saved_and_shown(tag_page: TagPage) -> None:
    tag_page.drag(1000.0, 1600.0)
    tag_page.page.locator("#place summary").click()
    tag_page.page.fill("#place-name", "Fish quay")
    tag_page.page.select_option("#place-surface", "cobbles")
    tag_page.press("Add to places.geojson")
    expect_status(tag_page, r"Added to places\.geojson")
    assert tag_page.page.locator(".tag[data-layer=places]").count() == 1
    assert "Fish quay" in (tag_page.folder / "places.geojson").read_text(encoding="utf-8")


def test_unsaved_tags_are_not_lost_by_leaving(tag_page: TagPage) -> None:
    asked = []
    tag_page.page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    tag_page.drag(5200.0, 5800.0)
    tag_page.press("sand")
    expect_status(tag_page, "sand")
    tag_page.press("Done")
    assert asked == ["confirm"]
    with contextlib.suppress(Exception):  # the browser was told to stay
        tag_page.page.goto("about:blank", timeout=1500.0)
    assert "beforeunload" in asked
    assert tag_page.page.locator(".tag[data-label=sand]").count() == 1
    assert tag_page.client.thread.is_alive()
    tag_page.complaints.clear()


def test_done(tag_page: TagPage) -> None:
    tag_page.press("Done")
    tag_page.page.get_by_text("The server has ended").wait_for()
    tag_page.client.thread.join(10.0)
    assert not tag_page.client.thread.is_alive()


def test_taps_on_a_phone(chromium: Browser, tmp_path: Path) -> None:
    phone = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
    with opened(chromium, tmp_path, **phone) as tag_page:
        page = tag_page.page
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        y = tag_page.pad.bounding_box()["y"] + 60.0
        page.touchscreen.tap(tag_page.x(7000.0), y)
        page.touchscreen.tap(tag_page.x(7900.0), y)
        assert tag_page.chosen() == pytest.approx((7.0, 7.9), abs=0.05)
        page.get_by_role("button", name="gravel", exact=True).tap()
        expect_status(tag_page, "gravel")
        assert tag_page.complaints == []


class Fingers:
    """Fingers on the screen, as the browser's own protocol tells of them."""

    def __init__(self, tag_page: TagPage, y: float) -> None:
        self.session = tag_page.page.context.new_cdp_session(tag_page.page)
        self.y = y

    def __call__(self, kind: str, *x: float) -> None:
        """`touchStart`, `touchMove` or `touchEnd`, with all that are down then."""
        points = [{"x": place, "y": self.y, "id": number} for number, place in enumerate(x)]
        self.session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def axis_labels(tag_page: TagPage) -> list[float]:
    """Distances on the axis of the profile [km or mi], the first and the last."""
    texts = tag_page.page.locator("#profile svg > text.middle").all_text_contents()
    return [float(texts[0]), float(texts[-1])]


def test_two_fingers_on_a_phone(chromium: Browser, tmp_path: Path) -> None:
    """A pinch outward magnifies what is between the fingers; it neither chooses nor marks."""
    phone = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
    with opened(chromium, tmp_path, **phone) as tag_page:
        page = tag_page.page
        whole = axis_labels(tag_page)
        tag_page.pad.scroll_into_view_if_needed()
        y = tag_page.pad.bounding_box()["y"] + 60.0
        middle, fingers = tag_page.x(7000.0), Fingers(tag_page, y)
        fingers("touchStart", middle - 20.0)
        fingers("touchStart", middle - 20.0, middle + 20.0)
        for half in (30.0, 50.0, 80.0):
            fingers("touchMove", middle - half, middle + half)
        fingers("touchEnd")
        near = axis_labels(tag_page)
        share = (near[1] - near[0]) / (whole[1] - whole[0])
        assert 0.12 < share < 0.38  # four times as large, less what the ticks leave at the edges
        assert near[0] < 7.0 < near[1]
        assert page.locator(".chosen").count() == 0
        assert page.locator("line.first").count() == 0
        assert page.evaluate("visualViewport.scale") == 1.0  # the page itself stays as it was
        fingers("touchStart", middle - 80.0)
        fingers("touchStart", middle - 80.0, middle + 80.0)
        for half in (50.0, 20.0, 4.0):
            fingers("touchMove", middle - half, middle + half)
        fingers("touchEnd")
        assert axis_labels(tag_page) == whole
        page.touchscreen.tap(middle, y)  # one finger still marks
        assert page.locator("line.first").count() == 1
        assert tag_page.complaints == []


STRANGER = """<!DOCTYPE html><title>elsewhere</title><script>
(async () => {{
  const body = JSON.stringify({{tags: {{surface: [], structure: []}}}});
  const tries = [];
  for (const mode of ["cors", "no-cors"]) for (const type of ["application/json", "text/plain"])
    for (const ask of ["PUT /api/tags", "POST /api/done", "GET /api/tags"]) {{
      const [method, path] = ask.split(" ");
      tries.push(fetch("http://127.0.0.1:{port}" + path, {{
        method, mode, credentials: "include",
        headers: {{"Content-Type": type, "If-Match": "{version}"}},
        body: method === "GET" ? undefined : body,
      }}).then((answer) => answer.text()).then((text) => text, () => ""));
    }}
  document.title = "read:" + (await Promise.all(tries)).join("");
}})();
</script>"""


@contextlib.contextmanager
def page_elsewhere(text: str) -> Iterator[str]:
    """A page of another origin, though of the same machine: there cookies are sent along."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(text.encode())

        def log_message(self, *_: object) -> None:
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}/"
        finally:
            server.shutdown()
            thread.join()


def test_a_page_from_elsewhere_cannot_save(tag_page: TagPage) -> None:
    before = tag_page.csv
    version = tag_page.client.ask("GET", "/api/tags", cookie=cookie(tag_page)).document["version"]
    text = STRANGER.format(port=tag_page.client.access.port, version=version)
    with page_elsewhere(text) as address:
        stranger = tag_page.page.context.new_page()
        stranger.goto(address)
        until(lambda: stranger.title().startswith("read:"))
        assert stranger.title() == "read:"  # and it has read nothing either
        framed = tag_page.page.context.new_page()
        framed.goto(address)
        framed.evaluate(
            "address => { const frame = document.createElement('iframe'); frame.src = address;"
            " document.body.append(frame); }",
            f"http://127.0.0.1:{tag_page.client.access.port}/",
        )
        framed.wait_for_timeout(300.0)
        assert not any("Surface tags" in (frame.title() or "") for frame in framed.frames[1:])
    assert tag_page.csv == before
    assert tag_page.client.thread.is_alive()


HOSTILE = "<img src=x onerror=document.title='taken'><script>document.title='taken'</script>"


def test_text_of_a_track_is_text(chromium: Browser, tmp_path: Path) -> None:
    """Names of the file, the track and a place that try to be more than text."""
    samples = shipped_folder("sample_tracks")
    text = (samples / "ridge_trail.gpx").read_text(encoding="utf-8")
    escaped = HOSTILE.replace("<", "&lt;").replace(">", "&gt;")
    text = text.replace("<trk>", f"<trk><name>{escaped}</name><desc>{escaped}</desc>", 1)
    track = tmp_path / "<img src=x onerror=document.title='taken'>.gpx"
    track.write_text(text, encoding="utf-8")
    session = sample_session(tmp_path, "ridge_trail.gpx")
    session.places.add(
        {
            "type": "Feature",
            "properties": {"name": HOSTILE, "surface": "sand"},
            "geometry": {
                "type": "LineString",
                "coordinates": [
                    [
                        float(session.course.ride.longitude_deg[at]),
                        float(session.course.ride.latitude_deg[at]),
                    ]
                    for at in range(100, 300, 5)
                ],
            },
        },
        session.places.version(),
    )
    tiles = open_tiles([samples / "terrain"])
    hostile = open_session(track, tmp_path / "reports", tiles, load_config(), DistanceUnit.KM)
    with opened(chromium, tmp_path, hostile) as tag_page:
        page = tag_page.page
        assert page.locator("#ride-name").text_content() == track.name
        assert (
            page.locator(".tag[data-layer=places] title").first.text_content().startswith(HOSTILE)
        )
        assert HOSTILE in page.locator("#list").text_content()
        page.wait_for_timeout(200.0)
        assert page.locator("img").count() == 0
        assert page.title() == f"Surface tags: {track.name}"
        assert tag_page.complaints == []
