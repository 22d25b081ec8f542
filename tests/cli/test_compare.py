"""`wherewatt compare` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from wherewatt.cli import main
from wherewatt.config import shipped_folder

SAMPLES = shipped_folder("sample_tracks")
TRACKS = ("harbour_commute.fit", "ridge_trail.gpx", "causeway_wind.gpx")
TERRAIN = ("--terrain", str(SAMPLES / "terrain"))


def compare(*arguments: str | Path) -> int:
    return main(["compare", *map(str, arguments)])


def test_answer_comes_first(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "out.json"
    assert compare(*(SAMPLES / name for name in TRACKS), *TERRAIN, "--json", path) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    lines = printed.out.splitlines()
    assert "on equal terms (90 %:" in lines[0]
    assert "chance" in lines[0]
    assert max(map(len, lines)) <= 100
    content = json.loads(path.read_text(encoding="utf-8"))
    assert [ride["name"] for ride in content["rides"]] == [name.split(".")[0] for name in TRACKS]


def test_markdown_and_miles(capsys: pytest.CaptureFixture[str]) -> None:
    tracks = [SAMPLES / name for name in TRACKS[:2]]
    assert compare(*tracks, *TERRAIN, "--format", "md", "--units", "mi") == 0
    out = capsys.readouterr().out
    assert out.startswith("**")
    assert "| Wh/mi |" in out
    assert "12.4 mi on asphalt" in out  # 20 km


def test_reference_can_be_changed(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    reference = tmp_path / "mine.toml"
    reference.write_text('[ride]\nsurface = "gravel"\nrider_mass_kg = 60.0\n', encoding="utf-8")
    tracks = [SAMPLES / name for name in TRACKS[:2]]
    assert compare(*tracks, *TERRAIN, "--reference", reference) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "on gravel" in out
    assert "rider 60 kg" in out


def test_wrong_reference_is_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    reference = tmp_path / "mine.toml"
    reference.write_text("[ride]\nsurfase = 'gravel'\n", encoding="utf-8")
    assert compare(*(SAMPLES / name for name in TRACKS[:2]), "--reference", reference) == 1
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "surface" in error


def test_one_ride_is_a_wrong_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        compare(SAMPLES / TRACKS[0])
    assert stopped.value.code == 2
    assert "TRACK" in capsys.readouterr().err


def test_the_same_ride_twice_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    track = SAMPLES / TRACKS[0]
    assert compare(track, track, *TERRAIN) == 1
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "the same recording" in error


def test_missing_track_is_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert compare(SAMPLES / TRACKS[0], tmp_path / "none.gpx") == 1
    assert capsys.readouterr().err.count("\n") == 1


def test_json_that_cannot_be_written(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    tracks = [SAMPLES / name for name in TRACKS[:2]]
    assert compare(*tracks, *TERRAIN, "--json", tmp_path / "no" / "where.json") == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "where.json: found No such file or directory, expected a place to write" in said
