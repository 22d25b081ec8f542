"""`wherewatt report` as a user runs it: exit codes, lines on standard error, files."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from wherewatt.cli import main
from wherewatt.columns import LEG_COLUMNS, SECTION_COLUMNS
from wherewatt.config import shipped_folder

SAMPLES = shipped_folder("sample_tracks")
RIDES = ("causeway_wind", "harbour_commute", "ridge_trail")


def report(*arguments: str | Path) -> int:
    return main(["report", *(str(argument) for argument in arguments)])


@pytest.fixture
def ride(tmp_path: Path) -> Path:
    """A copy of the trail ride with its side files, alone in a folder."""
    folder = tmp_path / "ride"
    folder.mkdir()
    for path in SAMPLES.glob("ridge_trail.*"):
        shutil.copy(path, folder)
    return folder / "ridge_trail.gpx"


def complaint(capsys: pytest.CaptureFixture[str]) -> list[str]:
    return [line for line in capsys.readouterr().err.splitlines() if line.strip()]


def test_samples(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert report(SAMPLES, "--out", tmp_path, "--terrain", SAMPLES / "terrain") == 0
    printed = capsys.readouterr().out
    for name in RIDES:
        assert name in printed
        assert {path.name for path in (tmp_path / name).iterdir()} == {
            "sections.csv",
            "sections.geojson",
            "sections.parquet",
            "track.geojson",
            "legs.parquet",
            "summary.json",
            "report.html",
            "profile.png",
        }


@pytest.mark.parametrize("name", RIDES)
def test_files_keep_the_contract(name: str, tmp_path: Path) -> None:
    track = next(path for path in SAMPLES.glob(f"{name}.*") if path.suffix in (".gpx", ".fit"))
    assert report(track, "--out", tmp_path, "--terrain", SAMPLES / "terrain") == 0
    sections = pd.read_csv(tmp_path / name / "sections.csv", keep_default_na=False)
    legs = pd.read_parquet(tmp_path / name / "legs.parquet")
    summary = json.loads((tmp_path / name / "summary.json").read_text(encoding="utf-8"))
    assert list(sections.columns) == [column.name for column in SECTION_COLUMNS]
    assert list(legs.columns) == [column.name for column in LEG_COLUMNS]
    total = summary["energy"]["battery_wh"]["mean"]
    assert sections["battery_wh"].sum() == pytest.approx(total, rel=1e-9)
    assert legs["battery_wh"].sum() == pytest.approx(total, rel=1e-9)
    causes = LEG_COLUMNS[9:]
    by_section = legs.groupby("section")[[cause.name for cause in causes]].sum()
    for cause in causes:
        assert sections[cause.name].to_numpy() == pytest.approx(
            by_section[cause.name].to_numpy(), abs=1e-9 * total
        )
    assert sections["start_time"].iloc[1:].tolist() == sections["end_time"].iloc[:-1].tolist()


def test_miles(ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert report(ride, "--out", tmp_path / "out", "--units", "mi") == 0
    assert "Wh/mi" in capsys.readouterr().out
    sections = (tmp_path / "out/ridge_trail/sections.csv").read_text(encoding="utf-8")
    assert sections.startswith("section,start_time,end_time,start_km")  # files stay metric


def test_track_alone_is_the_handbook(ride: Path, tmp_path: Path) -> None:
    for path in ride.parent.iterdir():
        if path != ride:
            path.unlink()
    assert report(ride, "--out", tmp_path / "out") == 0
    summary = json.loads((tmp_path / "out/ridge_trail/summary.json").read_text(encoding="utf-8"))
    codes = {warning["code"] for warning in summary["warnings"]}
    assert {"handbook-only", "no-ride-sheet", "untagged-surface", "no-terrain"} <= codes
    energy = summary["energy"]["battery_wh"]
    assert energy["sd"] > 0.1 * energy["mean"]
    assert summary["display"] == []
    for parameter in summary["calibration"]["parameters"]:
        assert parameter["mean"] == pytest.approx(parameter["prior_mean"], rel=1e-6, abs=1e-6)


def test_bad_track_among_good(
    ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (ride.parent / "broken.fit").write_text("this is no FIT file", encoding="utf-8")
    assert report(ride.parent, "--out", tmp_path / "out") == 1
    lines = complaint(capsys)
    assert lines[0].startswith("wherewatt: broken.fit: found ")
    assert lines[1:] == ["wherewatt: 1 of 2 tracks could not be used"]
    assert (tmp_path / "out/ridge_trail/sections.csv").exists()
    assert not (tmp_path / "out/broken").exists()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.gpx", b""),
        ("empty.fit", b""),
        ("text.fit", b"at,battery_pct\n1 km,90\n"),
        ("page.gpx", b"<html><body>404</body></html>"),
        ("zeros.fit", b"\0" * 500),
        ("points.gpx", b"<gpx version='1.1'><trk><trkseg/></trk></gpx>"),
    ],
)
def test_no_ride_in_it(
    name: str, content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    assert report(path, "--out", tmp_path / "out") == 1
    (line,) = complaint(capsys)
    assert line.startswith(f"wherewatt: {name}: found ")
    assert ", expected " in line
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("stem", ["harbour_commute.fit", "ridge_trail.gpx"])
def test_cut_short_gives_what_it_holds(stem: str, tmp_path: Path) -> None:
    whole = (SAMPLES / stem).read_bytes()
    (tmp_path / stem).write_bytes(whole[: len(whole) * 6 // 10])
    assert report(tmp_path / stem, "--out", tmp_path / "out") == 0
    folder = tmp_path / "out" / stem.split(".")[0]
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert "file-cut-short" in {warning["code"] for warning in summary["warnings"]}
    assert 4.0 < summary["track"]["distance_km"] < 10.0


@pytest.mark.parametrize(
    ("side_file", "text", "parts"),
    [
        ("readings.csv", "at,battery_pct\n2 km,90\n99 km,10\n", ["line 3", "99 km", "ends at"]),
        ("readings.csv", "at,battery\n2 km,90\n", ["battery_pct"]),
        ("readings.csv", "at,battery_pct\n2 km,190\n", ["line 2", "190"]),
        ("surface.csv", "from,to,surface\n0 km,2 km,asfalt\n", ["line 2", "asfalt", "asphalt"]),
        ("surface.csv", "from,to,surface\n2 km,1 km,dirt\n", ["line 2"]),
        ("surface.csv", "from,to,surface\n90 km,95 km,dirt\n", ["line 2", "ends at"]),
        (
            "surface.csv",
            "from,to,surface\n0 km,3 km,dirt\n0:02:00,0:20:00,grass\n",
            ["line 3", "overlaps"],
        ),
        ("toml", "[rider]\nmas_kg = 80\n", ["mas_kg", "mass_kg"]),
        ("toml", "[vehicle]\nbattery_nominal_wh = 'big'\n", ["battery_nominal_wh", "big"]),
        ("toml", "[rider\n", ["line 1"]),
    ],
)
def test_wrong_side_file(
    side_file: str,
    text: str,
    parts: list[str],
    ride: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    ride.with_name(f"ridge_trail.{side_file}").write_text(text, encoding="utf-8")
    assert report(ride, "--out", tmp_path / "out") == 1
    (line,) = complaint(capsys)
    assert line.startswith(f"wherewatt: ridge_trail.{side_file}: ")
    for part in parts:
        assert part in line
    assert not (tmp_path / "out").exists()


def test_all_problems_at_once(
    ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ride.with_name("ridge_trail.readings.csv").write_text(
        "at,battery_pct\n1 km,x\n2 km,y\n", encoding="utf-8"
    )
    ride.with_name("ridge_trail.toml").write_text("[ridr]\nmass_kg = 80\n", encoding="utf-8")
    assert report(ride, "--out", tmp_path / "out") == 1
    assert len(complaint(capsys)) == 3


def test_two_tracks_of_one_name(
    ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    again = ride.parent / "again"
    again.mkdir()
    shutil.copy(ride, again)
    assert report(ride.parent, "--out", tmp_path / "out") == 1
    assert "a second track named ridge_trail" in complaint(capsys)[0]


@pytest.mark.parametrize("option", ["--terrain"])
def test_missing_folder(
    option: str, ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert report(ride, option, tmp_path / "nowhere") == 1
    (line,) = complaint(capsys)
    assert "nowhere" in line


def test_missing_track(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert report(tmp_path / "nothing.gpx") == 1
    assert len(complaint(capsys)) == 1


def test_out_that_cannot_be_written(
    ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file", encoding="utf-8")
    assert report(ride, "--out", blocked) == 1
    assert len(complaint(capsys)) == 1


def test_wrong_choice_of_units(ride: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        report(ride, "--units", "furlong")
    assert stop.value.code == 2
    error = capsys.readouterr().err
    assert "km" in error
    assert "mi" in error


def test_broken_tile(ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "N44W030.hgt").write_bytes(b"\0" * 1000)
    assert report(ride, "--terrain", tmp_path, "--out", tmp_path / "out") == 1
    (line,) = complaint(capsys)
    assert line.startswith("wherewatt: N44W030.hgt: found 1000 bytes")


def test_places_tag_what_hands_did_not(ride: Path, tmp_path: Path) -> None:
    ride.with_name("ridge_trail.surface.csv").unlink()
    assert report(ride, "--out", tmp_path / "first") == 0
    points = pd.read_parquet(tmp_path / "first/ridge_trail/legs.parquet")
    assert len(points) > 100
    track = [
        [float(longitude), float(latitude)] for latitude, longitude in _positions(ride)[200:600]
    ]
    feature = {
        "type": "Feature",
        "properties": {"surface": "gravel", "name": "lane"},
        "geometry": {"type": "LineString", "coordinates": track},
    }
    ride.with_name("places.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8"
    )
    assert report(ride, "--out", tmp_path / "second") == 0
    with (tmp_path / "second/ridge_trail/sections.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert {row["surface"] for row in rows} == {"gravel", "untagged"}


def _positions(track: Path) -> list[tuple[str, str]]:
    import re

    return re.findall(r'<trkpt lat="([^"]+)" lon="([^"]+)"', track.read_text(encoding="utf-8"))


def test_every_file_of_others(
    shared_data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A report or one line for each GPX and FIT file by others (origins: its SOURCES.md)."""
    tracks = sorted([*shared_data.rglob("*.gpx"), *shared_data.rglob("*.fit")])
    assert tracks
    for track in tracks:
        code = report(track, "--out", tmp_path, "--debug")
        lines = complaint(capsys)
        if code == 0:
            assert lines == [], track
            assert (tmp_path / track.stem / "report.html").exists()
        else:
            assert code == 1, track
            assert len(lines) == 1, track
            assert lines[0].startswith(f"wherewatt: {track.name}: found "), track


def test_markdown_is_all_that_is_printed(
    ride: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert report(ride, "--out", tmp_path / "out", "--format", "md", "--units", "mi") == 0
    printed = capsys.readouterr()
    assert printed.out.startswith("## ridge\\_trail\n")
    assert "| Cause | Wh | ± | % |" in printed.out
    assert "Wh/mi" in printed.out
    assert "Written to" not in printed.out
    assert "Written to" in printed.err


def test_markdown_of_several_rides(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert report(SAMPLES, "--out", tmp_path, "--format", "md") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("| Ride | km |")
    assert sum(name.replace("_", "\\_") in line for name in RIDES for line in lines) == len(RIDES)
