"""A sample ride as a notebook has it."""

from __future__ import annotations

from pathlib import Path

import pytest

import wherewatt
from wherewatt.config import shipped_folder

SAMPLES = shipped_folder("sample_tracks")
TRACK = SAMPLES / "harbour_commute.fit"
TILES = SAMPLES / "terrain"


@pytest.fixture(scope="session")
def ride() -> wherewatt.RecordedRide:
    return wherewatt.read(TRACK)


@pytest.fixture(scope="session")
def report(ride: wherewatt.RecordedRide) -> wherewatt.RideReport:
    """Its frames are not to be changed."""
    return wherewatt.report(ride, tiles=TILES)


@pytest.fixture(scope="session")
def by_command(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same ride as the command reports it: the folder of its files."""
    from wherewatt.cli import main

    out = tmp_path_factory.mktemp("command")
    assert main(["report", str(TRACK), "--terrain", str(TILES), "--out", str(out)]) == 0
    return out / "harbour_commute"
