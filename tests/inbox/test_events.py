"""What is heard of a folder."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from wherewatt.inbox.events import Events


@pytest.fixture
def events(tmp_path: Path) -> Iterator[Events]:
    (tmp_path / "reports").mkdir()
    events = Events(tmp_path, tmp_path / "reports")
    time.sleep(1.0)  # until it listens
    yield events
    events.end()


def test_hears_of_a_track_and_not_of_what_the_watch_writes(tmp_path: Path, events: Events) -> None:
    for name in (".hidden", "a.gpx.problem.txt", "reports/a.txt"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    assert not events.pipe.poll(1.5)
    (tmp_path / "a.gpx").write_text("x", encoding="utf-8")
    assert events.pipe.poll(5.0)
    assert events.take() == ""


def test_says_why_there_are_none(tmp_path: Path) -> None:
    events = Events(tmp_path / "missing", tmp_path / "reports")
    assert events.pipe.poll(5.0)
    assert events.take() != ""
    events.end()
