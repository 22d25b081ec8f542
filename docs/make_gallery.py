"""Writes docs/gallery/ anew: what the sample rides look like; ``python -m docs.make_gallery``.

Pictures need a chromium and Playwright; the printed answers need neither, and are written alone by
``python -m docs.make_gallery answers``.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image

from wherewatt.config import shipped_folder

if TYPE_CHECKING:
    from playwright.sync_api import Browser, ViewportSize

GALLERY = Path(__file__).parent / "gallery"
CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
COMMAND_WIDTH = 96  # characters; answers that are not for a terminal are 100 wide
COLOURS = 256  # of a picture; more are hardly seen and weigh three times as much

TERRAIN = ("--terrain", "sample_tracks/terrain")
KNOWN = ("--vehicle", "Skerrin 2", "--library", "vehicles")
REPORT = ("report", "sample_tracks", *TERRAIN, "--library", "vehicles")
COMPARED = ("sample_tracks/harbour_commute.fit", "sample_tracks/ridge_trail.gpx")
WAY = "sample_tracks/causeway_wind.gpx"

# Moves the slider of the report, so that the same place is marked in all figures.
_MOVE_ON = """slider => {
    slider.value = 0.37 * slider.max;
    slider.dispatchEvent(new Event("input", {bubbles: true}));
}"""

# The commands whose answers the gallery shows, in the order in which they are run.
ANSWERS = {
    "report": REPORT,
    "predict": ("predict", *KNOWN, "--rider-kg", "75", "--top-speed-kmh", "20"),
    "turnback": ("turnback", WAY, *KNOWN, *TERRAIN, "--battery", "60"),
    "compare": ("compare", *COMPARED, *TERRAIN),
}


@dataclass(frozen=True, slots=True)
class Shot:
    """A picture of a page.

    Parameters
    ----------
    name : of the file.
    page : file below the working folder, or a link.
    width_px, height_px : of the window.
    part : CSS selector of the element that is scrolled to the top.
    dark : True for a reader who prefers dark pages.
    """

    name: str
    page: str
    width_px: int
    height_px: int
    part: str = "body"
    dark: bool = False


RIDE_PAGE = "reports/harbour_commute/report.html"
SHOTS = (
    Shot("report", RIDE_PAGE, 820, 740),
    Shot("course", RIDE_PAGE, 820, 870, part=".linked"),
    Shot("along", RIDE_PAGE, 820, 1000, part=".linked figure:nth-of-type(2)"),
    Shot("causes", RIDE_PAGE, 820, 780, part="h2:text('Causes')"),
    Shot("phone", RIDE_PAGE, 390, 780, dark=True),
)
TAG_SHOT = Shot("tag", "", 1000, 860)


def answers(folder: Path) -> dict[str, str]:
    """What the commands print, run in a folder that then holds the sample rides' reports."""
    shutil.copytree(shipped_folder("sample_tracks"), folder / "sample_tracks")
    return {name: _printed(command, folder) for name, command in ANSWERS.items()}


def shown(name: str) -> str:
    """A command as a person types it, in lines that a shell takes as one."""
    words = [f'"{word}"' if " " in word else word for word in ANSWERS[name]]
    lines = textwrap.wrap(f"$ wherewatt {' '.join(words)}", COMMAND_WIDTH, break_on_hyphens=False)
    return " \\\n    ".join(lines) + "\n"


def write_gallery(*, pictures: bool) -> None:
    """Write every answer, and the pictures if they are wanted."""
    GALLERY.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for verb, text in answers(folder).items():
            (GALLERY / f"{verb}.txt").write_text(shown(verb) + text, encoding="utf-8")
        if pictures:
            _write_pictures(folder)


def _write_pictures(folder: Path) -> None:
    with Image.open(folder / "reports/harbour_commute/profile.png") as profile:
        _save(profile.resize((1280, 720), Image.Resampling.LANCZOS), "profile")
    with _browser() as browser:
        for shot in SHOTS:
            _take(browser, shot, (folder / shot.page).as_uri())
        with _tag_page(folder) as link:
            _take(browser, TAG_SHOT, link)


def _printed(command: tuple[str, ...], folder: Path) -> str:
    run = [sys.executable, "-m", "wherewatt", *command]
    done = subprocess.run(run, cwd=folder, capture_output=True, check=True, encoding="utf-8")
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()).strip("\n") + "\n"


@contextlib.contextmanager
def _browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright  # not needed for the answers

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@contextlib.contextmanager
def _tag_page(folder: Path) -> Iterator[str]:
    """The link of the page to tag surfaces, served as long as it is looked at."""
    track = "sample_tracks/harbour_commute.fit"
    run = [sys.executable, "-u", "-m", "wherewatt", "tag", track, *TERRAIN, "--no-open"]
    with subprocess.Popen(run, cwd=folder, stdout=subprocess.PIPE, encoding="utf-8") as server:
        assert server.stdout is not None
        lines = (line.split() for line in server.stdout)
        yield next(word for words in lines for word in words if word.startswith("http"))
        server.terminate()


def _take(browser: Browser, shot: Shot, link: str) -> None:
    size: ViewportSize = {"width": shot.width_px, "height": shot.height_px}
    page = browser.new_page(viewport=size, color_scheme="dark" if shot.dark else "light")
    page.goto(link)
    page.wait_for_timeout(1500.0)  # figures are drawn after the page has loaded
    if page.locator("#place").count():
        page.locator("#place").evaluate(_MOVE_ON)
    page.locator(shot.part).first.evaluate("element => element.scrollIntoView()")
    page.wait_for_timeout(500.0)
    with Image.open(io.BytesIO(page.screenshot())) as picture:
        _save(picture, shot.name)
    page.close()


def _save(picture: Image.Image, name: str) -> None:
    method = Image.Quantize.MAXCOVERAGE  # keeps the colour of what is small
    few = picture.convert("RGB").quantize(COLOURS, method, kmeans=3, dither=Image.Dither.NONE)
    few.save(GALLERY / f"{name}.png", optimize=True)


if __name__ == "__main__":
    write_gallery(pictures=sys.argv[1:] != ["answers"])
