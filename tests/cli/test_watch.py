"""`wherewatt watch` as a user runs it."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from wherewatt.cli import main
from wherewatt.config import shipped_folder

SAMPLES = shipped_folder("sample_tracks")
RIDES = ("harbour_commute", "ridge_trail")
FILES = {
    "sections.csv",
    "sections.geojson",
    "sections.parquet",
    "track.geojson",
    "legs.parquet",
    "summary.json",
    "report.html",
    "profile.png",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The sample rides in a folder that is watched."""
    folder = tmp_path / "rides"
    shutil.copytree(SAMPLES, folder, ignore=shutil.ignore_patterns("causeway*"))
    return folder


def watch(*arguments: str | Path) -> int:
    return main(["watch", *map(str, arguments), "--settle", "0.1"])


def test_killed_and_started_again(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The real thing, killed while a report is made and when one is there."""
    out = tmp_path / "reports"
    arguments = [str(folder), "--out", str(out), "--terrain", str(folder / "terrain")]
    for is_time in (
        lambda: any(out.glob(".wherewatt/making/*/.new*/*")),
        lambda: any(out.glob("*/.stamp.json")),
    ):
        with subprocess.Popen(
            [sys.executable, "-m", "wherewatt", "watch", *arguments, "--settle", "0.1"],
            stdout=subprocess.DEVNULL,
        ) as process:
            until_s = time.monotonic() + 30.0
            while not is_time() and time.monotonic() < until_s:
                time.sleep(0.01)
            process.kill()
        time.sleep(0.1)
    before = {path.parent.name: path.stat().st_ino for path in out.glob("*/.stamp.json")}
    assert before
    assert watch(*arguments, "--once") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1] == "2 reported, 0 waiting, 0 rides with a problem"
    for name in RIDES:
        assert {path.name for path in (out / name).iterdir()} == FILES | {".stamp.json"}
        made_now = any(line.startswith(f"{name}.") for line in lines)
        assert made_now is (name not in before)
    assert {path.name for path in out.iterdir()} == set(RIDES)


def test_polling_until_ctrl_c(tmp_path: Path) -> None:
    folder, out = tmp_path / "rides", tmp_path / "rides/reports"
    folder.mkdir()
    command = [sys.executable, "-m", "wherewatt", "watch", str(folder), "--out", str(out)]
    with subprocess.Popen(
        [*command, "--poll", "0.2", "--settle", "0.1"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        assert process.stdout
        assert process.stdout.readline().startswith(f"Watching {folder}")
        shutil.copy(SAMPLES / "harbour_commute.fit", folder)
        assert process.stdout.readline().startswith("harbour_commute.fit: 14.3 km, ")
        process.send_signal(signal.SIGINT)
        rest = process.stdout.read()
    assert process.returncode == 0
    assert "Traceback" not in rest
    assert not (out / ".wherewatt").exists()
    assert not (folder / ".wherewatt.lock").exists()


def test_bad_track(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "harbour_commute.fit").unlink()
    (folder / "ridge_trail.toml").write_text("[ridr]\nmass_kg = 80\n", encoding="utf-8")
    assert watch(folder, "--out", tmp_path / "out", "--once") == 1
    printed = capsys.readouterr().out.splitlines()
    note = (folder / "ridge_trail.gpx.problem.txt").read_text(encoding="utf-8").splitlines()
    assert note[0].startswith("ridge_trail.toml: ")
    assert note[0] in printed
    assert printed[-1] == "0 reported, 0 waiting, 1 ride with a problem"


@pytest.mark.parametrize(
    "arguments", [["--settle", "0"], ["--poll", "-1"], ["--jobs", "0"], ["--jobs", "x"]]
)
def test_wrong_number(
    arguments: list[str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["watch", str(folder), *arguments])
    assert stop.value.code == 2
    assert arguments[0] in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [["missing"], ["rides", "--terrain", "missing"]])
def test_missing_folder(
    arguments: list[str],
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(folder.parent)
    assert watch(*arguments) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("wherewatt: missing: found no such folder")


def test_library(folder: Path, tmp_path: Path) -> None:
    """What a ride said of its vehicle is kept; see tests/inbox/test_learning.py for the rest."""
    (folder / "ridge_trail.gpx").unlink()
    library = tmp_path / "library"
    assert watch(folder, "--out", tmp_path / "out", "--library", library, "--once") == 0
    assert [path.name[:16] for path in (library / "Skerrin_2").iterdir()] == ["harbour_commute-"]
