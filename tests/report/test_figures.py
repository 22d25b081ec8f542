"""The profile as a picture."""

from __future__ import annotations

import struct
import subprocess
import sys
from pathlib import Path

import matplotlib
import pytest

from wherewatt.report.figures import profile_figure, write_profile_png
from wherewatt.report.profile_data import profile_data
from wherewatt.report.result import RideResult
from wherewatt.units import DistanceUnit


@pytest.mark.parametrize("unit", list(DistanceUnit))
def test_profiles_of_unusual_rides(
    unit: DistanceUnit, handbook_result: RideResult, hostile_result: RideResult, tmp_path: Path
) -> None:
    for result in (handbook_result, hostile_result):
        write_profile_png(profile_data(result, unit), tmp_path / "profile.png")
        assert (tmp_path / "profile.png").stat().st_size > 10_000


def test_profile_is_a_frame_of_a_video(simulated_result: RideResult, tmp_path: Path) -> None:
    """The size stands in bytes 16 to 23 (ISO/IEC 15948, 11.2.2); 1080p is 1920 by 1080."""
    path = tmp_path / "profile.png"
    write_profile_png(profile_data(simulated_result, DistanceUnit.KM), path)
    assert struct.unpack(">II", path.read_bytes()[16:24]) == (1920, 1080)


def test_profile_says_what_it_shows(simulated_result: RideResult) -> None:
    figure = profile_figure(profile_data(simulated_result, DistanceUnit.MI))
    assert [axes.get_ylabel() for axes in figure.axes] == [
        "Height [ft]", "Surface", "Flow", "Battery [%]",
    ]  # fmt: skip
    assert figure.axes[-1].get_xlabel() == "Distance [mi]"
    said = " ".join(text.get_text() for text in figure.texts)
    assert simulated_result.name in said
    assert f"{simulated_result.ledger.total.mean:.0f} Wh (" in said


def test_nothing_is_drawn_outside_the_picture(simulated_result: RideResult) -> None:
    figure = profile_figure(profile_data(simulated_result, DistanceUnit.KM))
    box = figure.get_tightbbox()
    assert box.x0 >= 0.0
    assert box.y0 >= 0.0
    assert box.x1 <= figure.get_figwidth()
    assert box.y1 <= figure.get_figheight()


def test_settings_of_the_library_are_left_alone(simulated_result: RideResult) -> None:
    before = dict(matplotlib.rcParams)
    profile_figure(profile_data(simulated_result, DistanceUnit.MI))
    assert dict(matplotlib.rcParams) == before


def test_the_same_ride_gives_the_same_png(simulated_result: RideResult, tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        write_profile_png(profile_data(simulated_result, DistanceUnit.KM), tmp_path / name)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_no_global_figures_and_no_window_system() -> None:
    code = "import sys, wherewatt.report.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_page_imports_neither_chart_library() -> None:
    code = (
        "import sys, wherewatt.report.page;"
        "sys.exit('matplotlib' in sys.modules or 'plotly' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_writing_tables_does_not_import_the_charts() -> None:
    code = (
        "import sys, wherewatt.report.files, wherewatt.report.terminal;"
        "sys.exit('matplotlib' in sys.modules or 'jinja2' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
