"""What is given instead of a file beside the track counts as that file does."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

import wherewatt
from tests.notebook.conftest import SAMPLES
from wherewatt.errors import SideFileError, TerrainError, TrackError

TRACK = SAMPLES / "ridge_trail.gpx"
SHEET = SAMPLES / "ridge_trail.toml"
CALLOUTS = SAMPLES / "ridge_trail.readings.csv"
TAGS = SAMPLES / "ridge_trail.surface.csv"


@pytest.fixture(scope="module")
def expected() -> wherewatt.RideReport:
    """The ride with its own files beside it."""
    return wherewatt.report(TRACK)


@pytest.fixture
def alone(tmp_path: Path) -> Path:
    """The track without any file beside it."""
    return Path(shutil.copy(TRACK, tmp_path))


def sheet_of(path: Path) -> dict[str, Any]:
    import tomllib

    return tomllib.loads(path.read_text(encoding="utf-8"))


def test_paths_and_values_count_as_files(alone: Path, expected: wherewatt.RideReport) -> None:
    paths = wherewatt.report(alone, callouts=CALLOUTS, tags=str(TAGS), sheet=SHEET)
    frames = {name: pd.read_csv(path) for name, path in (("callouts", CALLOUTS), ("tags", TAGS))}
    ride = wherewatt.read(alone, callouts=frames["callouts"], sheet=sheet_of(SHEET))
    values = wherewatt.report(ride, tags=frames["tags"].to_dict("records"))
    for report in (paths, values):
        assert_frame_equal(report.sections, expected.sections, check_exact=True)
        assert report.summary == expected.summary
    assert not list(alone.parent.glob("*.csv"))


def test_given_takes_the_place_of_the_file(expected: wherewatt.RideReport) -> None:
    """Without call-outs the interval is wider; the other files beside the track still count."""
    report = wherewatt.report(TRACK, callouts=[])
    assert len(report.callouts) == 0 < len(expected.callouts)
    before, after = (it.summary["energy"]["battery_wh"]["sd"] for it in (expected, report))
    assert after > before
    assert set(report.sections["surface"]) == set(expected.sections["surface"])
    assert report.result.recording.sheet == expected.result.recording.sheet


def test_what_was_given_to_read_holds_for_the_report() -> None:
    ride = wherewatt.read(TRACK, sheet={"rider": {"mass_lb": np.float64(200.0)}}, callouts=[])
    report = wherewatt.report(ride, callouts=[{"at": "1 km", "battery_pct": 97}])
    # A pound is 0.45359237 kg exactly: international yard and pound agreement of 1959.
    assert report.result.recording.sheet.rider.mass_kg == pytest.approx(200.0 * 0.45359237)
    assert report.callouts["shown_pct"].tolist() == [97.0]


def test_sheet_values_of_every_kind() -> None:
    given = {
        "vehicle": {"name": 'A "bent"\\ nail', "mass_kg": 20, "pedal_assist": np.bool_(True)},
        "weather": {},
    }
    sheet = wherewatt.read(TRACK, sheet=given).recording.sheet
    assert sheet.vehicle.name == 'A "bent"\\ nail'
    assert (sheet.vehicle.mass_kg, sheet.vehicle.pedal_assist) == (20.0, True)


def test_configuration() -> None:
    config = wherewatt.load_config()
    loose = replace(config, motion=replace(config.motion, longest_pause_s=1.0))
    ride = wherewatt.read(TRACK, config=loose)
    assert wherewatt.report(ride).summary != wherewatt.report(TRACK).summary
    assert wherewatt.report(ride, config=config).summary == (wherewatt.report(TRACK).summary)
    with pytest.raises(wherewatt.WherewattError, match=r"defaults\.toml"):
        wherewatt.read(TRACK, config="no such folder")


@pytest.mark.parametrize(
    ("given", "parts"),
    [
        ({"callouts": [{"at": "far", "battery_pct": 90}]}, ["callouts: line 2", "'far'"]),
        ({"callouts": [{"at": "99 km", "battery_pct": 9}]}, ["callouts: line 2", "ends at"]),
        ({"callouts": {"where": ["1 km"]}}, ["callouts: line 1", "'where'"]),
        ({"callouts": 5}, ["callouts", "int"]),
        ({"tags": pd.DataFrame({"from": ["1 km"]})}, ["tags: line 1", "'to'", "'surface'"]),
        ({"sheet": {"rider": {"mas_kg": 80}}}, ["sheet: [rider] mas_kg", "'mass_kg'"]),
        ({"sheet": {"rider": {"mass_kg": None}}}, ["sheet: [rider] mass_kg", "NoneType"]),
        ({"sheet": {"rider": 80}}, ["sheet: rider", "int"]),
        ({"sheet": [1]}, ["sheet", "list"]),
        ({"places": {}}, ["places", "dict"]),
        ({"places": "no.geojson"}, ["no.geojson", "No such file"]),
        ({"tags": SHEET}, ["ridge_trail.toml: line", "column"]),
        ({"tags": "zero\0byte"}, ["zero"]),
    ],
)
def test_what_cannot_be_used(given: dict[str, Any], parts: list[str]) -> None:
    with pytest.raises(SideFileError) as caught:
        wherewatt.report(TRACK, **given)
    for part in parts:
        assert part in str(caught.value)
    assert isinstance(caught.value, wherewatt.InputError)
    assert "wherewatt-" not in str(caught.value)  # no folder of ours


def test_all_problems_at_once() -> None:
    with pytest.raises(SideFileError) as caught:
        wherewatt.read(TRACK, callouts=[{"at": "x"}] * 2, sheet={"ridr": {}})
    assert {problem.source for problem in caught.value.problems} == {"callouts", "sheet"}


def test_other_errors_are_those_of_the_command(tmp_path: Path) -> None:
    (tmp_path / "broken.gpx").write_text("this is no GPX", encoding="utf-8")
    for name in ("broken.gpx", "absent.gpx"):
        for given in ({}, {"callouts": []}):
            with pytest.raises(TrackError, match=name):
                wherewatt.read(tmp_path / name, **given)
    with pytest.raises(TerrainError, match="no such folder"):
        wherewatt.report(TRACK, tiles=tmp_path / "nowhere")
    with pytest.raises(wherewatt.InputError, match="'km' or 'mi'"):
        wherewatt.report(TRACK, units="furlong")
    with pytest.raises(TypeError, match="unexpected keyword 'call_outs'"):
        wherewatt.report(TRACK, call_outs=[])  # type: ignore[call-arg]
