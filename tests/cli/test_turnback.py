"""`wherewatt turnback` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from wherewatt.cli import main
from wherewatt.config import shipped_folder

SAMPLES = shipped_folder("sample_tracks")
TRAIL = SAMPLES / "ridge_trail.gpx"
TERRAIN = ("--terrain", str(SAMPLES / "terrain"))
SCOOTER = ("--vehicle", "e-scooter", "--battery-wh", "400", "--rider-kg", "75")
CALM = ("--wind-speed-m-s", "0")


def turnback(*arguments: str | Path) -> int:
    return main(["turnback", *map(str, arguments)])


def test_answer_comes_first(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "out.json"
    assert turnback(TRAIL, *SCOOTER, *CALM, *TERRAIN, "--json", path) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    lines = printed.out.splitlines()
    assert lines[0].startswith("Turn back at")
    assert "Turn if below" in printed.out
    assert "Do not read a screen" in " ".join(printed.out.split())
    assert max(map(len, lines)) <= 100
    content = json.loads(path.read_text(encoding="utf-8"))
    assert content["schema"] == "wherewatt/turnback/1"


def test_recorded_route_has_its_surfaces(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A bare copy of the track is a plan: nobody tagged it."""
    bare = tmp_path / "plan.gpx"
    bare.write_bytes(TRAIL.read_bytes())
    assert turnback(TRAIL, *SCOOTER, *CALM, *TERRAIN) == 0
    assert "no surface tag" not in capsys.readouterr().out
    assert turnback(bare, *SCOOTER, *CALM, *TERRAIN) == 0
    assert "no surface tag" in capsys.readouterr().out


def test_miles_and_markdown(capsys: pytest.CaptureFixture[str]) -> None:
    fit = SAMPLES / "harbour_commute.fit"
    options = ("--units", "mi", "--format", "md", "--surface", "asphalt", "--stops-per-km", "1")
    assert turnback(fit, *SCOOTER, *CALM, *TERRAIN, *options) == 0
    out = capsys.readouterr().out
    assert out.startswith("**")
    assert "| At, mi |" in out


def test_during_a_ride(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "out.json"
    assert turnback("--ride", TRAIL, *TERRAIN, "--top-speed-kmh", "15", "--json", path) == 0
    out = capsys.readouterr().out
    assert "Left now" in out
    content = json.loads(path.read_text(encoding="utf-8"))
    assert content["schema"] == "wherewatt/homeward/1"
    assert content["present"]["top_speed_kmh"] == pytest.approx(15.0)


def test_hill(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "out.json"
    assert turnback("--ride", TRAIL, "--hill", *TERRAIN, "--json", path) == 0
    capsys.readouterr()
    content = json.loads(path.read_text(encoding="utf-8"))
    assert content["schema"] == "wherewatt/hill-test/1"
    assert content["hill"]["name"].startswith("climb at")
    assert turnback("--ride", TRAIL, "--from", "4.0 km", "--to", "4.8 km", *TERRAIN) == 0
    assert "4.0 km to 4.8 km" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((TRAIL, "--vehicle", "no such"), "e-scooter"),
        ((TRAIL, *SCOOTER, "--battery", "10", "--reserve", "12"), "less than the charge"),
        ((TRAIL, *SCOOTER, "--chance", "100"), "--chance"),
        ((TRAIL, *SCOOTER, "--surface", "lava"), "a known surface"),
        ((SAMPLES / "none.gpx", *SCOOTER), "none.gpx"),
        (("--ride", TRAIL, "--hill", "no such hill", *TERRAIN), "climb at"),
        (("--ride", TRAIL, "--from", "2 km", "--to", "1 km", *TERRAIN), "behind"),
        (("--ride", TRAIL, "--home", SAMPLES / "causeway_wind.gpx", *TERRAIN), "passes"),
    ],
)
def test_impossible_requests_are_one_line(
    arguments: tuple[str | Path, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert turnback(*arguments) == 1
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert words in error


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "ROUTE"),
        ((TRAIL,), "--vehicle"),
        ((TRAIL, "--ride", TRAIL), "ROUTE"),
        ((TRAIL, *SCOOTER, "--hill"), "--ride"),
        (("--ride", TRAIL, "--battery", "50"), "--battery"),
        (("--ride", TRAIL, "--wind-from-deg", "50"), "--wind-from-deg"),
        (("--ride", TRAIL, "--from", "1 km"), "--to"),
    ],
)
def test_commands_that_make_no_sense(
    arguments: tuple[str | Path, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        turnback(*arguments)
    assert stopped.value.code == 2
    assert words in capsys.readouterr().err.splitlines()[-1]
