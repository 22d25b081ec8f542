"""The tagging page in a real browser, and hands to work it with."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.tagging.running import Client, running, sample_session
from wherewatt.tagging.server import Session

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@contextlib.contextmanager
def launched() -> Iterator[Browser]:
    """Debian's chromium; without it, or without Playwright, the test is skipped."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"no browser at {CHROMIUM}")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


@dataclass(slots=True)
class TagPage:
    """The open page; `complaints` are errors of its console and requests to elsewhere."""

    page: Page
    client: Client
    folder: Path
    complaints: list[str] = field(default_factory=list)

    @property
    def csv(self) -> str:
        """The file of tags, as it is on disk."""
        (path,) = self.folder.glob("*.surface.csv")
        return path.read_text(encoding="utf-8")

    @property
    def status(self) -> Locator:
        return self.page.locator("#status")

    @property
    def pad(self) -> Locator:
        return self.page.locator("[data-focus=pad]")

    def listen(self) -> None:
        """Note what goes wrong in the page."""
        inside = f"http://127.0.0.1:{self.client.access.port}/"

        def heard(message: object) -> None:
            if message.type in ("error", "warning"):
                self.complaints.append(message.text)

        def asked(request: object) -> None:
            if not request.url.startswith(inside):
                self.complaints.append(f"asks {request.url}")

        self.page.on("console", heard)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", asked)

    def x(self, metres: float) -> float:
        """Where on the screen a distance lies, in the whole profile."""
        box = self.pad.bounding_box()
        total = float(self.pad.get_attribute("aria-valuemax"))
        return box["x"] + metres / total * box["width"]

    def drag(self, start_m: float, end_m: float) -> None:
        """Drag over the profile."""
        self.pad.scroll_into_view_if_needed()
        box = self.pad.bounding_box()
        y = box["y"] + box["height"] / 2.0
        self.page.mouse.move(self.x(start_m), y)
        self.page.mouse.down()
        self.page.mouse.move(self.x((start_m + end_m) / 2.0), y + 5.0)
        self.page.mouse.move(self.x(end_m), y)
        self.page.mouse.up()

    def press(self, name: str) -> None:
        """Click the button with these words."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def chosen(self) -> tuple[float, float]:
        """Ends of the chosen stretch as the page shows them [km or mi]."""
        return tuple(float(self.page.locator(name).input_value()) for name in ("#from", "#to"))


@contextlib.contextmanager
def opened(
    browser: Browser, folder: Path, session: Session | None = None, **options: object
) -> Iterator[TagPage]:
    """The page of a sample ride, open in a window of its own."""
    with running(session or sample_session(folder)) as client:
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        context.set_default_timeout(8000.0)
        try:
            tag_page = TagPage(context.new_page(), client, folder)
            tag_page.listen()
            tag_page.page.goto(client.access.link)
            tag_page.page.wait_for_selector("body[data-ready=yes]")
            yield tag_page
        finally:
            context.close()
