"""Reports in a real browser. Without one these tests are skipped."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.browser.tag_support import launched
from tests.report.conftest import handbook_result, hostile_result
from wherewatt.report.backdrop import Backdrop, hillshade, window_of
from wherewatt.report.page import render_page
from wherewatt.report.result import RideResult
from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["handbook_result", "hostile_result"]  # fixtures of another folder

PHONE, DESK = 390, 1280  # widths [px]


@dataclass
class Visit:
    """A page that is open, and all that went wrong on it."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


Open = Callable[..., Visit]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One for a file of tests: the library does not start a second while one runs."""
    with launched() as browser:
        yield browser


@pytest.fixture(scope="session")
def page_file(simulated_result: RideResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of a simulated ride on invented hills."""
    window = window_of(simulated_result.ride)
    south, east = np.mgrid[0:60, 0:100] / 8.0
    shade = hillshade(20.0 * np.sin(south) * np.cos(east), 30.0)
    result = replace(simulated_result, backdrop=Backdrop(window, shade))
    return write(result, tmp_path_factory.mktemp("page"))


def write(result: RideResult, folder: Path) -> Path:
    path = folder / "report.html"
    path.write_text(render_page(result, DistanceUnit.KM), encoding="utf-8")
    return path


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Open]:
    """Opens a file; closes all of them in the end."""
    visits: list[Visit] = []

    def open_one(path: Path, width: int = DESK, **settings: Any) -> Visit:
        page = browser.new_page(viewport={"width": width, "height": 844}, **settings)
        visit = Visit(page)
        visits.append(visit)
        page.on("console", lambda message: visit.complaints.append(message.text))
        page.on("pageerror", lambda error: visit.complaints.append(str(error)))
        page.on("dialog", lambda dialog: visit.complaints.append(dialog.message))
        page.on("request", lambda request: visit.requests.append(request.url))
        page.goto(path.as_uri())
        return visit

    yield open_one
    for visit in visits:
        visit.page.context.close()
