"""Rides that several tests archive."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.archive.builders import archive, write_rides


@pytest.fixture(scope="session")
def rides(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five simulated rides; not to be changed."""
    folder = tmp_path_factory.mktemp("rides")
    write_rides(folder)
    return folder


@pytest.fixture(scope="session")
def archived(rides: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Their archive, made in one piece; not to be changed."""
    out = tmp_path_factory.mktemp("archive") / "out"
    archive(rides, out)
    return out
