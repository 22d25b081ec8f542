"""What tests of more than one room share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.simulator import simulate
from wherewatt.config import load_config
from wherewatt.pipeline import analyse_for_page
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

SHARED_DATA = Path(__file__).parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Other people's real files, which are not part of this project."""
    if not SHARED_DATA.is_dir():
        pytest.skip(f"other people's files are not at {SHARED_DATA}")
    return SHARED_DATA


@pytest.fixture(scope="session")
def simulated_result(tmp_path_factory: pytest.TempPathFactory) -> RideResult:
    """A simulated ride with all its side files, taken through every room."""
    folder = tmp_path_factory.mktemp("simulated")
    simulated = simulate("commuter", 1)
    track = simulated.write(folder)
    simulated.write_tile(folder)
    return analyse_for_page(track, TileFolder((folder,)), load_config())
