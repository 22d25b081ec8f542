"""Results that are unusual in one way each."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.support.simulator import simulate
from wherewatt.config import load_config
from wherewatt.ingest.track import Note
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

HOSTILE_NAME = "<img src=x onerror=alert(1)>\x1b[2J"
HOSTILE_TEXT = "<script>alert(2)</script> [bold]$x^2$"


@pytest.fixture(scope="session")
def handbook_result(tmp_path_factory: pytest.TempPathFactory) -> RideResult:
    """A ride of which there is nothing but the track."""
    folder = tmp_path_factory.mktemp("handbook")
    track = simulate("city", 2).write(folder, side_files=())
    return analyse(track, TileFolder(()), load_config())


@pytest.fixture(scope="session")
def hostile_result(simulated_result: RideResult) -> RideResult:
    """A ride whose texts try to be more than text."""
    track = replace(simulated_result.recording.track, source=Path(f"{HOSTILE_NAME}.gpx"))
    estimate = simulated_result.estimate
    sections = estimate.evidence.sections
    surface = tuple(HOSTILE_TEXT if name == "asphalt" else name for name in sections.surface)
    evidence = replace(estimate.evidence, sections=replace(sections, surface=surface))
    return replace(
        simulated_result,
        recording=replace(simulated_result.recording, track=track),
        estimate=replace(estimate, evidence=evidence),
        notes=(Note("hostile", HOSTILE_TEXT),),
    )
