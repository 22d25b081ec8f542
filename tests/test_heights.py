"""Heights, structures and sections on simulated rides whose road is known.

Seeds 2100 and up are used nowhere else. The full tables: `python -m benchmarks.heights` and
`python -m benchmarks.segmentation`.
"""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.heights import Score, score_ride
from benchmarks.segmentation import score_ride as score_sections


@pytest.fixture(scope="module")
def scores() -> list[Score]:
    return [
        score
        for character, seed in (("commuter", 2100), ("windy", 2101), ("hilly", 2102))
        for recorder in ("phone", "computer")
        for score in score_ride(character, seed, recorder)
    ]


def test_blend_is_twice_as_good_as_the_better_source(scores: list[Score]) -> None:
    squares = np.mean(np.square([score.grade_error for score in scores]), axis=0)
    recorded, tile, blend = np.sqrt(squares)
    assert blend < 0.5 * min(recorded, tile)


def test_height_change_of_sections(scores: list[Score]) -> None:
    """Within 1 m, in the median; nine in ten within the interval, or nearly."""
    errors = np.concatenate([score.section_error_m for score in scores])
    inside = np.concatenate([score.section_inside for score in scores])
    assert np.median(errors) < 1.0
    assert 0.75 < np.mean(inside) < 0.99
    assert 0.6 < np.sqrt(np.mean(np.square([score.grade_z for score in scores]))) < 1.5


def test_barometer_shows_every_bridge(scores: list[Score]) -> None:
    by_barometer = [score for score in scores if score.case[1] == "computer"]
    assert sum(score.bridges for score in by_barometer) > 0
    assert all(score.found == score.bridges for score in by_barometer)
    assert sum(score.false for score in by_barometer) == 0
    assert sum(score.false for score in scores) <= 8  # with phones, in about 190 km in all


def test_ascent_is_that_of_the_road(scores: list[Score]) -> None:
    blend, recorded = np.mean([score.ascent_error for score in scores], axis=0)
    assert abs(blend) < 0.15
    assert recorded > 1.0  # every ripple counted


def test_sections_of_a_barometer_are_those_of_the_road() -> None:
    """Covering by stretches (Arbelaez et al. 2011), and steady against sampling and noise."""
    scores = score_sections("hilly", 2103)
    barometer = [score.values for score in scores if score.recorder == "computer"]
    assert np.mean([values["terrain"] for values in barometer]) > 0.8
    for values in (score.values for score in scores):
        assert values["flow"] > 0.8
        assert values["surface"] > 0.97
        assert values["1/4/10 s"] > 0.6
