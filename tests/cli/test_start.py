"""What a command loads: the slow libraries only where they are needed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from wherewatt.config import shipped_folder

TRACK = shipped_folder("sample_tracks") / "causeway_wind.gpx"


def loaded(*arguments: str | Path) -> set[str]:
    """Top-level libraries and rooms of scipy that a command has loaded when it ends."""
    code = (
        "import atexit, sys; from wherewatt.cli import main;"
        "atexit.register(lambda: print('LOADED', *sys.modules)); sys.exit(main(sys.argv[1:]))"
    )
    command = [sys.executable, "-c", code, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, check=True, encoding="utf-8")
    names = done.stdout.partition("LOADED ")[2].split()
    return {".".join(name.split(".")[: 2 if name.startswith("scipy.") else 1]) for name in names}


def test_help_loads_no_numbers() -> None:
    assert not loaded("--help") & {"numpy", "rich", "pandas"}


def test_a_report_loads_no_more_than_it_needs(tmp_path: Path) -> None:
    slow = {"pandas", "geopandas", "scipy.stats", "scipy.optimize", "scipy.spatial", "rasterio"}
    assert not loaded("report", TRACK, "--out", tmp_path) & slow
