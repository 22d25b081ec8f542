"""`wherewatt query` as a user runs it."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import pandas as pd
import pytest

from wherewatt.archive.crew import process_crew
from wherewatt.archive.questions import QUESTIONS
from wherewatt.archive.run import archive_rides
from wherewatt.archive.settings import archive_settings
from wherewatt.cli import main
from wherewatt.config import load_config, shipped_folder

SAMPLES = shipped_folder("sample_tracks")


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The archive of the sample rides."""
    folder = tmp_path_factory.mktemp("query")
    shutil.copytree(SAMPLES, folder / "rides")
    settings = archive_settings(load_config(), [folder / "rides" / "terrain"])
    with process_crew(1) as crew:
        archive_rides(str(folder / "rides"), str(folder / "out"), settings, crew)
    return str(folder / "out")


def test_sql(out: str, capsys: pytest.CaptureFixture[str]) -> None:
    question = "SELECT name, distance_km FROM rides ORDER BY name"
    assert main(["query", question, "--archive", out]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].split() == ["name", "distance_km"]
    assert [line.split() for line in lines[3:6]] == [
        ["causeway_wind", "15.3"],  # as README has them
        ["harbour_commute", "14.3"],
        ["ridge_trail", "13.8"],
    ]


@pytest.mark.parametrize("name", QUESTIONS)
def test_ready_questions(name: str, out: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Their SQL, asked by hand, is answered alike."""
    assert main(["query", "--ask", name, "--archive", out, "--format", "csv"]) == 0
    answer = capsys.readouterr().out
    assert main(["query", "--show-sql", name]) == 0
    sql = capsys.readouterr().out
    assert main(["query", sql, "--archive", out, "--format", "csv"]) == 0
    again = capsys.readouterr().out
    # DuckDB sums in several threads: the last figures depend on who is first.
    frames = [pd.read_csv(io.StringIO(text)) for text in (answer, again)]
    pd.testing.assert_frame_equal(*frames, rtol=1e-9)
    assert len(answer.splitlines()) > (0 if name == "pack" else 1)


def test_markdown(out: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["query", "--ask", "surface", "--archive", out, "--format", "md"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("| surface | rides | km |")
    assert lines[1] == "|" + " --- |" * 6


def test_vehicle(out: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["query", "SELECT vehicle FROM rides LIMIT 1", "--archive", out, "--format", "csv"])
        == 0
    )
    name = capsys.readouterr().out.splitlines()[1]
    library = tmp_path / "vehicles"
    assert main(["query", "--vehicle", name, "--archive", out, "--library", str(library)]) == 0
    said = capsys.readouterr()
    assert "battery_usable_wh" in said.out
    assert "From 1 ride together." in said.out
    assert len(list(library.rglob("*.json"))) == 1
    assert main(["query", "--vehicle", "Nobody's", "--archive", out]) == 1
    assert "expected a vehicle of the archive" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments",
    [[], ["--ask", "weather"], ["SELECT 1", "--ask", "pack"], ["SELECT 1", "--format", "x"]],
)
def test_wrong_command(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["query", *arguments])
    assert stop.value.code == 2


def test_library_without_a_vehicle(out: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["query", "SELECT 1", "--archive", out, "--library", "x"]) == 2
    assert "--vehicle" in capsys.readouterr().err


@pytest.mark.parametrize("sql", ["SELECT nothing FROM rides", "", "DROP VIEW rides"])
def test_wrong_sql_gives_one_line(sql: str, out: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["query", sql, "--archive", out]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("wherewatt: SQL: found ")


def test_folder_without_an_archive(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["query", "SELECT 1", "--archive", str(tmp_path)]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert "found no archive" in line
