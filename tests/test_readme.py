"""The README's commands and output are real."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from wherewatt.cli import main

TOP = Path(__file__).parents[1]
README = (TOP / "README.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    match = re.search(rf"<!-- {name} -->\n```\w+\n(.*?)\n```", README, re.DOTALL)
    assert match, name
    return match[1]


def words(text: str) -> list[list[str]]:
    return [line.split() for line in text.splitlines() if line.strip()]


def alike(shown: str, real: str) -> bool:
    """The same word, or numbers that differ by no more than another processor's rounding."""
    numbers = re.compile(r"\d+(?:\.\d+)?")
    if numbers.sub("#", shown) != numbers.sub("#", real):
        return False
    pairs = zip(numbers.findall(shown), numbers.findall(real), strict=True)
    return all(float(a) == pytest.approx(float(b), rel=0.02, abs=0.25) for a, b in pairs)


@pytest.mark.parametrize(
    ("name", "tracks"),
    [("report output", "sample_tracks"), ("ride output", "sample_tracks/harbour_commute.fit")],
)
def test_output_is_real(
    name: str,
    tracks: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    terrain = str(TOP / "sample_tracks/terrain")
    assert main(["report", str(TOP / tracks), "--terrain", terrain]) == 0
    shown, real = words(block(name)), words(capsys.readouterr().out)
    assert len(shown) == len(real)
    for shown_line, real_line in zip(shown, real, strict=True):
        assert len(shown_line) == len(real_line), real_line
        for shown_word, real_word in zip(shown_line, real_line, strict=True):
            assert alike(shown_word, real_word), real_line


@pytest.mark.parametrize("name", ["report command", "test command"])
def test_commands_are_one_line(name: str) -> None:
    assert "\n" not in block(name)
    assert block(name).startswith("python3 -m venv .venv && ")


def test_answer_stands_within_the_first_lines() -> None:
    assert "ridge_trail" in "\n".join(README.splitlines()[:25])
