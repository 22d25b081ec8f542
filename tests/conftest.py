"""What tests of more than one room share."""

from __future__ import annotations

from pathlib import Path

import pytest

SHARED_DATA = Path(__file__).parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Other people's real files, which are not part of this project."""
    if not SHARED_DATA.is_dir():
        pytest.skip(f"other people's files are not at {SHARED_DATA}")
    return SHARED_DATA
