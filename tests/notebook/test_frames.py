"""Frames and files say the same, and files are those of the command."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

import wherewatt
from tests.notebook.conftest import TILES, TRACK
from wherewatt.columns import LEG_COLUMNS, SECTION_COLUMNS
from wherewatt.ingest import read_track
from wherewatt.notebook.columns import CALLOUT_COLUMNS, POINT_COLUMNS, VOLTAGE_COLUMNS


def test_sections_are_those_of_the_file(report: wherewatt.RideReport, by_command: Path) -> None:
    with (by_command / "sections.csv").open(encoding="utf-8", newline="") as file:
        written = list(csv.DictReader(file))
    assert list(report.sections.columns) == list(written[0])
    for column in SECTION_COLUMNS:
        cells = [row[column.name] for row in written]
        values = report.sections[column.name]
        assert str(values.dtype) == column.dtype
        if column.dtype == "str":
            assert values.tolist() == cells
        elif column.dtype in ("int64", "float64"):
            expected = [float(cell or "nan") for cell in cells]
            assert np.array_equal(values.to_numpy(), expected, equal_nan=True), column.name
        else:
            assert (values == pd.to_datetime(cells)).all(), column.name


def test_legs_are_those_of_the_file(report: wherewatt.RideReport, by_command: Path) -> None:
    written = pd.read_parquet(by_command / "legs.parquet")
    assert list(report.legs.columns) == [column.name for column in LEG_COLUMNS]
    assert_frame_equal(report.legs, written, check_exact=True)
    total = report.summary["energy"]["battery_wh"]["mean"]
    assert report.legs["battery_wh"].sum() == pytest.approx(total, rel=1e-9)


def test_summary_is_that_of_the_file(report: wherewatt.RideReport, by_command: Path) -> None:
    written = json.loads((by_command / "summary.json").read_text(encoding="utf-8"))
    assert report.summary == written
    assert [{"code": n.code, "message": n.message} for n in report.notes] == written["warnings"]
    shown = report.callouts.rename(columns={"estimated_pct_sd": "sd"})
    assert shown.to_dict("records") == written["display"]
    assert list(report.callouts.columns) == [column.name for column in CALLOUT_COLUMNS]
    assert list(report.voltages.columns) == [column.name for column in VOLTAGE_COLUMNS]


def test_voltages_are_those_of_the_summary() -> None:
    called = [{"at": "0 km", "battery_pct": 100, "voltage_v": ""}]
    called += [{"at": "5 km", "battery_pct": "", "voltage_v": 48.1}]
    report = wherewatt.report(TRACK, callouts=called)
    assert report.voltages.to_dict("records") == report.summary["voltages"]
    assert report.voltages["shown_v"].tolist() == [48.1]
    assert report.callouts["shown_pct"].tolist() == [100.0]


def test_saved_files_are_those_of_the_command(
    report: wherewatt.RideReport, by_command: Path, tmp_path: Path
) -> None:
    folder = report.save(tmp_path / "reports")
    assert folder == tmp_path / "reports" / "harbour_commute"
    names = sorted(path.name for path in by_command.iterdir())
    assert sorted(path.name for path in folder.iterdir()) == names
    for name in names:
        assert (folder / name).read_bytes() == (by_command / name).read_bytes(), name


def test_nothing_is_written_unless_saved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    sheet = {"vehicle": {"name": "Skerrin 2"}}
    report = wherewatt.report(TRACK, library="vehicles", sheet=sheet)
    assert list(tmp_path.iterdir()) == []
    report.save()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["reports", "vehicles"]
    again = wherewatt.report(TRACK, library="vehicles", sheet=sheet)
    assert "vehicle-known" not in {
        note.code for note in again.notes
    }  # a ride does not teach itself


def test_points(ride: wherewatt.RecordedRide) -> None:
    points = ride.points
    assert {name: str(dtype) for name, dtype in points.dtypes.items()} == {
        column.name: column.dtype for column in POINT_COLUMNS
    }
    assert points["time_s"].is_monotonic_increasing
    assert points["distance_m"].is_monotonic_increasing
    seconds = (points["time"] - points["time"].iloc[0]).dt.total_seconds()
    assert seconds.to_numpy() == pytest.approx(points["time_s"].to_numpy(), abs=1e-6)
    track = read_track(TRACK)
    assert points["recorded_height_m"].isin(np.append(track.elevation_m, np.nan)).all()


def test_points_and_report_are_of_one_ride(
    ride: wherewatt.RecordedRide, report: wherewatt.RideReport
) -> None:
    assert report.name == ride.name == "harbour_commute"
    assert report.legs["distance_m"].sum() == pytest.approx(ride.points["distance_m"].iloc[-1])
    assert report.result.recording.track.source.name == TRACK.name
    from_file = wherewatt.report(str(TRACK), tiles=[str(TILES)])
    assert_frame_equal(from_file.sections, report.sections, check_exact=True)


def test_miles_are_for_people_only(report: wherewatt.RideReport) -> None:
    miles = wherewatt.report(TRACK, tiles=TILES, units="mi")
    assert_frame_equal(miles.sections, report.sections, check_exact=True)
    assert "Wh/mi" in repr(miles)
    assert "Wh/km" in repr(report)
