"""`import wherewatt`: it costs nothing, and people, editors and type checkers see its names."""

from __future__ import annotations

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import wherewatt

SOURCE = Path(wherewatt.__file__)

USE = """
from typing import assert_type
import wherewatt

ride = wherewatt.read("ride.gpx", callouts=[{"at": "1 km", "battery_pct": 90}])
assert_type(ride, wherewatt.RecordedRide)
report = wherewatt.report(ride, tiles=["tiles"], sheet={"rider": {"mass_kg": 80}})
assert_type(report, wherewatt.RideReport)
assert_type(wherewatt.read_archive("archive"), wherewatt.RideArchive)
wherewatt.reports
wherewatt.report("ride.gpx", tag="tags.csv")
"""


def fresh(code: str) -> str:
    command = [sys.executable, "-c", code]
    return subprocess.run(command, capture_output=True, check=True, encoding="utf-8").stdout


def test_import_loads_nothing() -> None:
    """PEP 562 (module __getattr__): a room loads when a name of it is asked for."""
    loaded = "import sys; before = set(sys.modules); import wherewatt, sys;"
    new = fresh(loaded + "print(*set(sys.modules) - before)").split()
    assert set(new) <= {"wherewatt", "__future__", "typing", "collections.abc"} | set(_typing())
    after = fresh(loaded + "wherewatt.InputError; print(*set(sys.modules) - before)").split()
    assert "wherewatt.errors" in after
    assert not {"numpy", "pandas", "wherewatt.pipeline"} & set(after)


def _typing() -> list[str]:
    """What the standard library's own `typing` loads."""
    return fresh(
        "import sys; b = set(sys.modules); import typing; print(*set(sys.modules) - b)"
    ).split()


def test_names_are_listed_and_there() -> None:
    assert set(wherewatt.__all__) <= set(dir(wherewatt))
    assert sorted(wherewatt.__all__) == wherewatt.__all__
    for name in wherewatt.__all__:
        assert getattr(wherewatt, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'reed'"):
        _ = wherewatt.reed  # type: ignore[attr-defined]


def test_only_a_room_that_can_be_called_has_a_public_name() -> None:
    """Loading a room would put the room in place of the name (Python reference, 5.4.2)."""
    rooms = {path.stem for path in SOURCE.parent.iterdir() if path.suffix in (".py", "")}
    assert rooms & set(wherewatt.__all__) == {"report"}


@pytest.mark.parametrize("before", ["", "import wherewatt.report.tables", "wherewatt.read"])
def test_report_can_be_called_whatever_was_loaded_before(before: str) -> None:
    asks = (
        "try: wherewatt.report('missing.gpx')\nexcept wherewatt.InputError as error: print(error)"
    )
    said = fresh(f"import wherewatt\n{before}\n{asks}\nimport wherewatt.report.tables\n{asks}")
    assert said.count("missing.gpx: found No such file") == 2


def test_names_come_from_where_type_checkers_are_told() -> None:
    told = {
        alias.name: node.module
        for node in ast.walk(ast.parse(SOURCE.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("wherewatt.")
        for alias in node.names
    }
    assert set(told) == set(wherewatt.__all__) - {"__version__"}
    for name, module in told.items():
        assert module is not None
        if name != "report":  # which is called through its room
            assert getattr(import_module(module), name) is getattr(wherewatt, name)


def test_type_checkers_see_the_names(tmp_path: Path) -> None:
    """A misspelt name and a misspelt keyword are told, and nothing else."""
    api = pytest.importorskip("mypy.api")
    snippet = tmp_path / "use.py"
    snippet.write_text(USE, encoding="utf-8")
    options = ["--config-file=", "--strict", "--follow-imports=silent", "--ignore-missing-imports"]
    out, _, _ = api.run([*options, f"--cache-dir={tmp_path / 'cache'}", str(snippet)])
    found = [line for line in out.splitlines() if ": error: " in line]
    assert len(found) == 2, out
    assert 'no attribute "reports"' in found[0]
    assert 'Unexpected keyword argument "tag"' in found[1]


def test_types_are_declared() -> None:
    """PEP 561: the marker is part of the package."""
    assert (SOURCE.parent / "py.typed").is_file()
