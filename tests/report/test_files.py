"""The files of a ride keep their contract and are whole or not there."""

from __future__ import annotations

import csv
import json
import os
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from wherewatt.allocate.loads import CAUSES
from wherewatt.errors import OutputError
from wherewatt.report import page
from wherewatt.report.files import (
    LEGS_NAME,
    PAGE_NAME,
    PROFILE_NAME,
    SECTIONS_MAP_NAME,
    SECTIONS_NAME,
    SECTIONS_PARQUET_NAME,
    SUMMARY_NAME,
    TRACK_MAP_NAME,
    write_result,
)
from wherewatt.report.result import RideResult
from wherewatt.units import DistanceUnit

ALL_NAMES = {
    SECTIONS_NAME, LEGS_NAME, SUMMARY_NAME, PAGE_NAME, PROFILE_NAME, SECTIONS_MAP_NAME,
    TRACK_MAP_NAME, SECTIONS_PARQUET_NAME,
}  # fmt: skip
CAUSE_COLUMNS = [f"{cause}_wh" for cause in CAUSES]

SECTION_HEADER = (
    "section,start_time,end_time,start_km,end_km,terrain,flow,surface,structure,distance_km,"
    "duration_s,moving_s,stops,ascent_m,descent_m,mean_grade_pct,mean_speed_kmh,battery_wh,"
    "battery_wh_sd,battery_wh_low90,battery_wh_high90,wh_per_km,share_pct,rolling_wh,air_wh,"
    "wind_wh,height_wh,speed_wh,brakes_wh,drivetrain_wh,auxiliary_wh,rider_wh,name"
)
LEG_HEADER = (
    "start_time,end_time,section,distance_m,speed_m_s,height_m,grade,headwind_m_s,battery_wh,"
    "rolling_wh,air_wh,wind_wh,height_wh,speed_wh,brakes_wh,drivetrain_wh,auxiliary_wh,rider_wh"
)


@pytest.fixture(scope="module")
def folder(simulated_result: RideResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("out") / "deep" / "ride"
    write_result(simulated_result, where, DistanceUnit.KM)
    return where


@pytest.fixture(scope="module")
def sections(folder: Path) -> pd.DataFrame:
    return pd.read_csv(folder / SECTIONS_NAME, keep_default_na=False)


@pytest.fixture(scope="module")
def legs(folder: Path) -> pd.DataFrame:
    return pd.read_parquet(folder / LEGS_NAME)


def test_all_files_are_there_and_no_other(folder: Path) -> None:
    assert {path.name for path in folder.iterdir()} == ALL_NAMES
    assert [path.name for path in folder.parent.iterdir()] == ["ride"]


def test_sections_have_the_columns_of_the_contract(folder: Path) -> None:
    data = (folder / SECTIONS_NAME).read_bytes()
    assert data.decode("utf-8").split("\n")[0] == SECTION_HEADER
    assert b"\r" not in data


def test_legs_have_the_columns_of_the_contract(legs: pd.DataFrame) -> None:
    assert ",".join(legs) == LEG_HEADER


def test_times_are_iso_8601_in_utc(sections: pd.DataFrame) -> None:
    iso = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
    for name in ("start_time", "end_time"):
        assert all(iso.fullmatch(text) for text in sections[name])


def test_sections_touch_and_cover_the_ride(
    simulated_result: RideResult, sections: pd.DataFrame
) -> None:
    assert list(sections["section"]) == list(range(1, len(sections) + 1))
    assert list(sections["start_time"][1:]) == list(sections["end_time"][:-1])
    assert list(sections["start_km"][1:]) == list(sections["end_km"][:-1])
    ride = simulated_result.ride
    assert sections["start_km"].iloc[0] == 0.0
    assert sections["end_km"].iloc[-1] == ride.distance_m[-1] / 1000.0
    spent = pd.to_datetime(sections["end_time"]) - pd.to_datetime(sections["start_time"])
    assert spent.sum().total_seconds() == pytest.approx(ride.time_s[-1], abs=1e-6)


def test_energies_add_up_in_the_sections(
    simulated_result: RideResult, sections: pd.DataFrame
) -> None:
    total = simulated_result.ledger.total.mean
    off = sections[CAUSE_COLUMNS].sum(axis=1) - sections["battery_wh"]
    assert np.abs(off).max() <= 1e-9 * total
    assert sections["battery_wh"].sum() == pytest.approx(total, rel=1e-9)
    assert sections["share_pct"].sum() == pytest.approx(100.0, rel=1e-9)


def test_energies_of_legs_add_up_to_the_sections(
    simulated_result: RideResult, sections: pd.DataFrame, legs: pd.DataFrame
) -> None:
    total = simulated_result.ledger.total.mean
    columns = ["battery_wh", *CAUSE_COLUMNS]
    by_section = legs.groupby("section")[columns].sum().to_numpy()
    assert np.abs(by_section - sections[columns].to_numpy()).max() <= 1e-9 * total


def test_legs_touch(legs: pd.DataFrame) -> None:
    assert (legs["start_time"][1:].to_numpy() == legs["end_time"][:-1].to_numpy()).all()


def test_numbers_survive_the_file(simulated_result: RideResult, folder: Path) -> None:
    with (folder / SECTIONS_NAME).open(newline="", encoding="utf-8") as file:
        energy = [float(row["battery_wh"]) for row in csv.DictReader(file)]
    assert energy == list(simulated_result.ledger.section_wh.sum(axis=0))


def test_summary_has_the_keys_of_the_contract(folder: Path) -> None:
    summary = json.loads((folder / SUMMARY_NAME).read_text(encoding="utf-8"))
    assert set(summary) == {
        "schema", "track", "energy", "range", "calibration", "display", "voltages", "verdict",
        "features", "warnings", "versions", "config",
    }  # fmt: skip
    interval = {"mean", "sd", "low90", "high90"}
    assert set(summary["energy"]) == {"battery_wh", "wh_per_km", "by_cause_wh"}
    assert set(summary["energy"]["battery_wh"]) == interval
    assert set(summary["energy"]["wh_per_km"]) == interval
    assert set(summary["range"]["full_charge_km"]) == interval
    assert list(summary["energy"]["by_cause_wh"]) == list(CAUSES)
    for cause in summary["energy"]["by_cause_wh"].values():
        assert set(cause) == {"mean", "sd"}
    for parameter in summary["calibration"]["parameters"]:
        assert set(parameter) == {
            "name", "unit", "prior_mean", "prior_sd", "mean", "sd", "low90", "high90",
            "informed_pct", "said",
        }  # fmt: skip
    for call_out in summary["display"]:
        assert set(call_out) == {
            "at_km", "shown_pct", "estimated_pct", "sd", "expected_pct", "residual_points",
            "residual_sds", "weight_pct", "set_aside",
        }  # fmt: skip
    for warning in summary["warnings"]:
        assert set(warning) == {"code", "message"}
    assert len(summary["track"]["sha256"]) == 64


def test_features_are_sums_over_their_sections(
    simulated_result: RideResult, folder: Path, sections: pd.DataFrame
) -> None:
    """A feature's energy is that of the sections from its start to its end, errors included."""
    listed = json.loads((folder / SUMMARY_NAME).read_text(encoding="utf-8"))["features"]
    assert len({feature["name"] for feature in listed}) == len(listed)
    assert set(sections["name"]) <= {feature["name"] for feature in listed}
    covariance = simulated_result.ledger.section_covariance
    for feature in listed:
        own = sections["start_km"].between(feature["start_km"], feature["end_km"], "left")
        assert feature["battery_wh"]["mean"] == pytest.approx(
            sections["battery_wh"][own].sum(), rel=1e-9
        )
        weight = own.to_numpy(float)
        assert feature["battery_wh"]["sd"] == pytest.approx(
            np.sqrt(weight @ covariance @ weight), rel=1e-9
        )
        rise = (sections["ascent_m"] - sections["descent_m"])[own].sum()
        assert feature["height_change_m"] == pytest.approx(rise, abs=1e-6)


def test_names_tell_the_terrain(sections: pd.DataFrame) -> None:
    plain = sections[sections["structure"] == ""]
    for terrain in ("climb", "descent"):
        assert plain["name"][plain["terrain"] == terrain].str.startswith(f"{terrain} at ").all()


def test_profile_is_a_png(folder: Path) -> None:
    assert (folder / PROFILE_NAME).read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_writing_again_replaces_the_files_with_the_same(
    simulated_result: RideResult, folder: Path
) -> None:
    before = {name: (folder / name).read_bytes() for name in ALL_NAMES}
    write_result(simulated_result, folder, DistanceUnit.KM)
    assert {name: (folder / name).read_bytes() for name in ALL_NAMES} == before


def test_other_files_stay(simulated_result: RideResult, tmp_path: Path) -> None:
    (tmp_path / "ride").mkdir()
    (tmp_path / "ride" / "own.txt").write_text("mine")
    write_result(simulated_result, tmp_path / "ride", DistanceUnit.MI)
    assert {path.name for path in (tmp_path / "ride").iterdir()} == ALL_NAMES | {"own.txt"}


def test_nothing_is_left_when_a_file_cannot_be_made(
    simulated_result: RideResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full_disk(_result: RideResult, _unit: DistanceUnit) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(page, "render_page", full_disk)
    with pytest.raises(OutputError, match=r"^[^\n]*No space left on device[^\n]*$"):
        write_result(simulated_result, tmp_path / "ride", DistanceUnit.KM)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_left_when_moving_fails(
    simulated_result: RideResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_source: Path, _target: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OutputError, match="Permission denied"):
        write_result(simulated_result, tmp_path / "ride", DistanceUnit.KM)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    assert [path.name for path in tmp_path.iterdir()] in ([], ["ride"])


def test_a_file_in_place_of_the_folder_is_an_output_error(
    simulated_result: RideResult, tmp_path: Path
) -> None:
    (tmp_path / "ride").write_text("in the way")
    with pytest.raises(OutputError, match="ride"):
        write_result(simulated_result, tmp_path / "ride", DistanceUnit.KM)
    assert (tmp_path / "ride").read_text() == "in the way"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_ride_of_which_nothing_was_measured_is_written(
    handbook_result: RideResult, tmp_path: Path
) -> None:
    write_result(handbook_result, tmp_path / "ride", DistanceUnit.KM)
    summary = json.loads((tmp_path / "ride" / SUMMARY_NAME).read_text(encoding="utf-8"))
    assert summary["display"] == []
