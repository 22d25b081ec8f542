"""docs/notebook.md says what the code does, and its example is run."""

from __future__ import annotations

import inspect
import re
import shutil
from dataclasses import fields
from pathlib import Path

import pytest

import wherewatt
from tests.notebook.conftest import SAMPLES
from tests.test_readme import alike, words
from wherewatt.columns import Column
from wherewatt.notebook.columns import CALLOUT_COLUMNS, POINT_COLUMNS
from wherewatt.notebook.given import Given

TEXT = (Path(__file__).parents[2] / "docs" / "notebook.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    match = re.search(rf"<!-- {name} -->\n```\w+\n(.*?)\n```", TEXT, re.DOTALL)
    assert match, name
    return match[1]


def tables() -> list[list[list[str]]]:
    found = re.findall(r"(?:^\|.*\n)+", TEXT, re.MULTILINE)
    return [
        [[cell.strip().strip("`") for cell in line.strip("|").split("|")] for line in lines]
        for lines in (table.splitlines()[2:] for table in found)
    ]


def test_example(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copytree(SAMPLES, tmp_path / "sample_tracks")
    exec(compile(block("example"), "docs/notebook.md", "exec"), {})
    real, said = words(capsys.readouterr().out), words(block("output"))
    assert len(said) == len(real)
    for said_line, real_line in zip(said, real, strict=True):
        assert len(said_line) == len(real_line), real_line
        for said_word, real_word in zip(said_line, real_line, strict=True):
            assert alike(said_word, real_word), real_line


@pytest.mark.parametrize(("number", "columns"), [(0, POINT_COLUMNS), (2, CALLOUT_COLUMNS)])
def test_columns(number: int, columns: tuple[Column, ...]) -> None:
    assert tables()[number] == [[it.name, it.unit, it.meaning] for it in columns]


def test_result_and_keywords() -> None:
    _, in_result, _, keywords, beside = tables()
    named = [row[0].split("(")[0] for row in in_result]
    frames = [field.name for field in fields(wherewatt.RideReport)]
    assert named == [*frames[: frames.index("notes") + 1], "save"]
    parameters = inspect.signature(wherewatt.report).parameters
    assert {row[0] for row in keywords} == set(parameters) - {"track", "given"}
    assert {row[0] for row in beside} == set(Given.__annotations__)
