"""The main job on simulated rides whose truth is known: a short run of benchmarks/accuracy.py.

The bounds are those the project sets itself: at most 12 % of the energy on the wrong section, at
most half of what sharing percent by distance gives, and 90 % intervals that hold the truth in 80
to 98 % of sections. The rides are none that any setting was chosen on.
"""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.accuracy import FIRST_UNSEEN, Score, score_ride

from tests.support.simulator import CHARACTERS

RIDES_OF_EACH = 3


@pytest.fixture(scope="module")
def scores() -> list[Score]:
    return [
        score_ride(character, FIRST_UNSEEN + 100 + number, "sheet")
        for character in CHARACTERS
        for number in range(RIDES_OF_EACH)
    ]


def test_share_on_the_wrong_section(scores: list[Score]) -> None:
    by_hand, handbook, report = np.mean([score.wrong for score in scores], axis=0)
    assert report <= 0.12
    assert report <= 0.5 * by_hand
    assert report < handbook


def test_intervals_hold_the_truth(scores: list[Score]) -> None:
    inside = sum(score.inside for score in scores) / sum(score.sections for score in scores)
    assert 0.80 <= inside <= 0.98


def test_total(scores: list[Score]) -> None:
    assert np.mean([abs(score.total_error) for score in scores]) < 0.08
    assert np.mean([score.total_inside for score in scores]) >= 0.75
