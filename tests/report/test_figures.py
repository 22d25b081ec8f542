"""The charts."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import matplotlib
import pytest
from matplotlib.figure import Figure

from wherewatt.report.figures import (
    energy_figure,
    profile_figure,
    svg_element,
    write_profile_png,
)
from wherewatt.report.result import RideResult
from wherewatt.units import DistanceUnit


@pytest.mark.parametrize("draw", [profile_figure, energy_figure])
@pytest.mark.parametrize("unit", list(DistanceUnit))
def test_charts_of_unusual_rides(
    draw: Callable[[RideResult, DistanceUnit], Figure],
    unit: DistanceUnit,
    handbook_result: RideResult,
    hostile_result: RideResult,
) -> None:
    for result in (handbook_result, hostile_result):
        svg = svg_element(draw(result, unit), "chart")
        assert svg.count("<svg") == svg.count("</svg>") == 1
        assert "<script" not in svg


def test_text_of_a_chart_is_text(simulated_result: RideResult) -> None:
    svg = svg_element(profile_figure(simulated_result, DistanceUnit.KM), "chart")
    assert ">Distance [km]</text>" in svg
    assert ">Height [m]</text>" in svg


def test_settings_of_the_library_are_left_alone(simulated_result: RideResult) -> None:
    before = dict(matplotlib.rcParams)
    svg_element(profile_figure(simulated_result, DistanceUnit.MI), "chart")
    assert dict(matplotlib.rcParams) == before


def test_the_same_ride_gives_the_same_png(simulated_result: RideResult, tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        write_profile_png(simulated_result, tmp_path / name, DistanceUnit.KM)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_no_global_figures_and_no_window_system() -> None:
    code = "import sys, wherewatt.report.page; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_writing_tables_does_not_import_the_charts() -> None:
    code = (
        "import sys, wherewatt.report.files, wherewatt.report.terminal;"
        "sys.exit('matplotlib' in sys.modules or 'jinja2' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
