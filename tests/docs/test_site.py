"""The site can be built without a warning, and needs nothing from the network."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

import pytest

import wherewatt
from tests.docs.pages import DOCS

REASON = "the docs extra is not installed"
pytest.importorskip("sphinx", reason=REASON)
pytest.importorskip("myst_parser", reason=REASON)
pytest.importorskip("furo", reason=REASON)

# A link element that makes the browser load something.
LOADED = {"stylesheet", "icon", "preload", "modulepreload", "prefetch", "manifest"}


@dataclass
class Page(HTMLParser):
    """What a page loads, where it leads, and the places in it that can be led to."""

    loads: list[str] = field(default_factory=list)
    links: list[str] = field(default_factory=list)
    places: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.places |= {given["id"]} if "id" in given else set()
        if tag == "a":
            self.links.append(given.get("href", ""))
        elif tag == "link" and LOADED & set(given.get("rel", "").split()):
            self.loads.append(given["href"])
        self.loads += [given[name] for name in ("src", "srcset", "data", "poster") if name in given]
        self.loads += re.findall(r"url\(['\"]?([^'\")]+)", given.get("style", ""))
        if tag in ("use", "image", "feimage"):
            self.loads += [given[name] for name in ("href", "xlink:href") if name in given]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The built site; a warning is a failure: a link that leads nowhere, say."""
    folder = tmp_path_factory.mktemp("site")
    options = ["-W", "--keep-going", "-q", "-d", str(folder / "trees")]
    command = [sys.executable, "-m", "sphinx", *options, str(DOCS), str(folder / "html")]
    done = subprocess.run(command, capture_output=True, check=False, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    return folder / "html"


@pytest.fixture(scope="module")
def pages(site: Path) -> dict[str, Page]:
    """Every page by its name."""
    read: dict[str, Page] = {}
    for path in sorted(site.glob("*.html")):
        read[path.name] = Page()
        read[path.name].feed(path.read_text(encoding="utf-8"))
    return read


def outside(address: str) -> bool:
    return re.match(r"(?i)\s*(?:https?:|ftp:|wss?:|//)", address) is not None


def test_every_page_is_there(pages: dict[str, Page]) -> None:
    written = {f"{path.stem}.html" for path in DOCS.glob("*.md")}
    assert written <= set(pages)
    assert {"index.html", "model.html", "architecture.html", "commands.html"} <= written


def test_pages_load_nothing_from_elsewhere(pages: dict[str, Page]) -> None:
    assert {
        name: [load for load in page.loads if outside(load)] for name, page in pages.items()
    } == {name: [] for name in pages}


def test_what_pages_load_is_there(site: Path, pages: dict[str, Page]) -> None:
    for page in pages.values():
        assert page.loads
        for load in page.loads:
            if not load.startswith(("data:", "#")):
                assert (site / re.split(r"[?#]", load)[0]).is_file(), load


def test_styles_load_nothing_from_elsewhere(site: Path) -> None:
    styles = list(site.rglob("*.css"))
    assert styles
    for path in styles:
        text = path.read_text(encoding="utf-8")
        loads = re.findall(r"url\(\s*['\"]?([^'\")]+)|@import\s+['\"]([^'\"]+)", text)
        assert not [load for pair in loads for load in pair if outside(load)], path.name


def test_links_lead_somewhere(site: Path, pages: dict[str, Page]) -> None:
    for name, page in pages.items():
        for link in page.links:
            target, _, place = link.partition("#")
            if outside(link) or (target and not target.endswith(".html")):
                continue
            assert not target or target in pages, f"{name}: {link}"
            assert not place or place in pages[target or name].places, f"{name}: {link}"


def test_everything_public_is_there(pages: dict[str, Page]) -> None:
    """The package's own names; `report` is a room that can be called, and stands under its home."""
    names = {f"wherewatt.{name}" for name in wherewatt.__all__ if not name.startswith("__")}
    assert len(names) > 5
    home = {"wherewatt.report": "wherewatt.notebook.reporting.report"}
    assert {home.get(name, name) for name in names} <= pages["api.html"].places


def test_equations_need_no_script(site: Path) -> None:
    text = (site / "model.html").read_text(encoding="utf-8")
    assert text.count('<math xmlns="http://www.w3.org/1998/Math/MathML"') > 100
    assert not re.search(r"<script[^>]*math", text, re.IGNORECASE)
    assert "$$" not in text
