"""docs/architecture.md names every room, and nothing that does not exist."""

from __future__ import annotations

import re

import pytest
from docs.make_imports import PICTURE, drawing

from tests.docs.pages import DOCS, PACKAGE, TOP, dotted_names, found, text_of
from tests.test_imports import RANK

TEXT = text_of("architecture.md")
ROW = re.compile(r"^\|\s*(\d+) \| `([\w/.]+)` \|", re.MULTILINE)
ROOMS = [(int(number), name) for number, name in ROW.findall(TEXT)]
FILES = set(re.findall(r"`((?:\w+/)+(?:\w+\.\w+)?|\w+\.(?:py|toml))`", TEXT))


def packages() -> set[str]:
    """Every package, with the folders it lies in."""
    return {f"{path.parent.relative_to(PACKAGE)}/" for path in PACKAGE.rglob("*/__init__.py")}


def test_every_room_is_named() -> None:
    modules = {path.name for path in PACKAGE.glob("*.py")} - {"__init__.py"}
    rooms = {name for name in packages() if name.count("/") == 1}
    assert sorted(name for _, name in ROOMS) == sorted(modules | rooms)


def test_every_package_is_named() -> None:
    assert packages() <= FILES


@pytest.mark.parametrize("name", sorted(FILES))
def test_files_exist(name: str) -> None:
    assert (PACKAGE / name).exists() or (TOP / name).exists()


@pytest.mark.parametrize("name", dotted_names(TEXT))
def test_names_exist(name: str) -> None:
    assert found(name) is not None


def test_order_is_the_one_that_is_held() -> None:
    """Rooms stand in the order of tests/test_imports.py, and share a number where they do there."""
    placed = [(RANK[room], number) for number, name in ROOMS if (room := name.strip("/")
              .removesuffix(".py")) in RANK]  # fmt: skip
    assert placed == sorted(placed)
    assert len({rank for rank, _ in placed}) == len({number for _, number in placed})


def test_picture_of_imports_is_of_today() -> None:
    """If not: python -m docs.make_imports."""
    assert PICTURE.read_text(encoding="utf-8") == drawing()


def test_picture_of_the_flow_names_rooms() -> None:
    flow = (DOCS / "flow.svg").read_text(encoding="utf-8")
    inside = re.search(r'<g class="room">(.*?)</g>', flow, re.DOTALL)
    assert inside
    named = re.findall(r">(\w+)</text>", inside[1])
    assert len(named) >= 7
    assert all(f"{name}/" in packages() for name in named)
