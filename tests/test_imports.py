"""The house stands: imports run one way, files stay short, nothing is printed."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "src" / "wherewatt"
FILES = sorted(PACKAGE.rglob("*.py"))

# A room may import from rooms to its left; what stands together may not import each other.
ORDER = (
    ("arrays", "units", "errors", "text", "whole_file"),
    ("lock",),
    ("physics",),
    ("ingest",),
    ("motion",),
    ("terrain",),
    ("sections",),
    ("allocate",),
    ("library",),
    ("columns",),
    ("config",),
    ("report",),
    ("pipeline",),
    ("outlook",),
    ("inbox", "archive", "tagging", "demo"),
    ("notebook",),
    ("cli",),
    ("__main__",),
)
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}
MOST_LINES = 400


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path: Path, *, by_type_checkers: bool = True) -> set[str]:
    """Modules of the package that a file imports, without the package's own name."""
    names: set[str] = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if not by_type_checkers:
        tree.body = [part for part in tree.body if not is_for_type_checkers(part)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            module = node.module or ""
            names |= {f"{module}.{alias.name}" for alias in node.names}
    return {name.removeprefix("wherewatt.") for name in names if name.startswith("wherewatt.")}


def is_for_type_checkers(part: ast.stmt) -> bool:
    """True for a block that is never run."""
    return isinstance(part, ast.If) and ast.unparse(part.test) == "TYPE_CHECKING"


def is_name_of_the_package(name: str) -> bool:
    """True for what the package itself gives, such as its version."""
    return name.startswith("__")


def is_setting(room: str, name: str) -> bool:
    """True for what a room to the right can be told, which the configuration reads."""
    return room == "config" and name.split(".")[1] == "settings"


def label(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


@pytest.mark.parametrize("path", FILES, ids=label)
def test_imports_run_one_way(path: Path) -> None:
    room = room_of(path)
    if room == "__init__":
        assert imported(path, by_type_checkers=False) == set()
        return
    assert room in RANK, f"{room}: say in ORDER where this room stands"
    for name in imported(path):
        source = name.split(".")[0]
        if is_name_of_the_package(source):
            continue
        allowed = source == room or RANK[source] < RANK[room] or is_setting(room, name)
        assert allowed, f"{label(path)} imports {name}, which stands to its right"


def test_what_everyone_may_use_imports_nothing_of_the_package() -> None:
    for name in ORDER[0]:
        assert imported(PACKAGE / f"{name}.py") == set()


@pytest.mark.parametrize("path", sorted((PACKAGE / "physics").glob("*.py")), ids=label)
def test_physics_knows_arrays_and_units_only(path: Path) -> None:
    assert {name.split(".")[0] for name in imported(path)} <= {"arrays", "units", "physics"}


def test_configuration_knows_settings_only() -> None:
    """Of the rooms it may import what they can be told, and the reader of vehicle files."""
    rooms = {"motion", "terrain", "sections", "allocate", "outlook"}
    for name in imported(PACKAGE / "config.py"):
        room, _, rest = name.partition(".")
        assert room not in rooms or rest.startswith("settings."), name


@pytest.mark.parametrize("path", FILES, ids=label)
def test_files_are_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


@pytest.mark.parametrize("path", FILES, ids=label)
def test_nothing_is_printed(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    assert not any(isinstance(call, ast.Name) and call.id == "print" for call in calls)


def test_every_room_says_what_it_is() -> None:
    for path in FILES:
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), label(path)
