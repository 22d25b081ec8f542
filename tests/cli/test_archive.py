"""`wherewatt archive` as a user runs it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest

from wherewatt.cli import main
from wherewatt.config import shipped_folder

SAMPLES = shipped_folder("sample_tracks")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """One of the sample rides, and one whose sheet is wrong."""
    folder = tmp_path / "rides"
    folder.mkdir()
    for path in SAMPLES.glob("ridge_trail.*"):
        shutil.copy(path, folder)
    (folder / "b").mkdir()
    shutil.copy(SAMPLES / "ridge_trail.gpx", folder / "b")
    (folder / "b" / "ridge_trail.toml").write_text("[ridr]\nmass_kg = 80\n", encoding="utf-8")
    return folder


def test_made_then_mended(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = str(tmp_path / "out")
    terrain = str(SAMPLES / "terrain")
    command = ["archive", str(folder), "--out", out, "--terrain", terrain, "--jobs", "1"]
    assert main(command) == 1
    said = capsys.readouterr()
    expected = f"2 rides in {out}: 2 analysed, 0 as they were; 1 could not be used.\n"
    assert said.out == expected
    (line,) = said.err.splitlines()
    assert line.startswith("wherewatt: b/ridge_trail.toml: ")
    assert "did you mean 'rider'?" in line
    (folder / "b" / "ridge_trail.toml").unlink()
    assert main(command) == 0
    said = capsys.readouterr()
    assert said.out == f"2 rides in {out}: 1 analysed, 1 as they were.\n"
    assert said.err == ""
    rides = pd.read_parquet(tmp_path / "out" / "rides")
    assert set(rides["path"]) == {"ridge_trail.gpx", "b/ridge_trail.gpx"}
    assert main(["query", "SELECT path FROM failed", "--archive", out, "--format", "csv"]) == 0
    assert capsys.readouterr().out == "path\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["missing"], "missing: found no such folder"),
        (["rides", "--terrain", "missing"], "missing: found no such folder"),
        (["rides", "--out", "nowhere://out"], "nowhere://out: found "),
        (["rides", "--scheduler", "nonsense://127.0.0.1"], "expected the address of a running"),
    ],
)
def test_what_cannot_be_gives_one_line(
    arguments: list[str],
    said: str,
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(folder.parent)
    assert main(["archive", *arguments]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert said in line


@pytest.mark.parametrize(
    "arguments", [["--jobs", "0"], ["--jobs", "2", "--scheduler", "tcp://x:1"]]
)
def test_wrong_command(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["archive", "rides", *arguments])
    assert stop.value.code == 2


def test_libraries_that_are_not_installed(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wherewatt.archive.store.find_spec", lambda _: None)
    assert main(["archive", str(folder)]) == 1
    assert "pip install 'wherewatt[archive]'" in capsys.readouterr().err
