"""Killed again and again; `kill_drill` as a program does this with 1,000 tracks and 20 kills."""

from __future__ import annotations

import sys

import pytest

from tests.inbox import kill_drill
from tests.inbox.drill_kinds import REAL

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="a process there is interrupted otherwise"
)


def test_nothing_is_lost_or_done_twice() -> None:
    drill = kill_drill.run(80, 4, seed=7, pause_s=0.01)
    assert drill.wrong_or_missing == ()
    assert drill.begun_again_though_finished == ()
    assert drill.rewritten == ()
    assert drill.left_over == ()
    assert drill.notes == 0
    assert 0 < max(drill.killed_at) < drill.tracks  # the kills came while there was work


def test_with_real_reports() -> None:
    drill = kill_drill.run(8, 2, seed=7, kind=REAL)
    assert drill.is_good, drill
