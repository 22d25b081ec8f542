"""Words and numbers for people."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from wherewatt.allocate.ledger import Measure
from wherewatt.allocate.loads import CAUSES
from wherewatt.config import load_config
from wherewatt.report import wording
from wherewatt.report.palette import CAUSE_FILLS, TERRAIN_FILLS, Fill, surface_fills
from wherewatt.report.result import RideResult


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(-0.04, 1, "0.0"), (-0.06, 1, "−0.1"), (12.345, 2, "12.35"), (1234.5, 0, "1234")],
)
def test_number(value: float, decimals: int, text: str) -> None:
    assert wording.number(value, decimals) == text


@pytest.mark.parametrize(
    ("spread", "decimals"), [(12.0, 0), (1.2, 1), (0.99, 2), (0.0027, 4), (0.0, 2)]
)
def test_decimals_follow_the_spread(spread: float, decimals: int) -> None:
    assert wording.decimals_for(spread) == decimals


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.4, "0 min 00 s"), (245.0, "4 min 05 s"), (3599.6, "1 h 00 min"), (7325.0, "2 h 02 min")],
)
def test_duration(seconds: float, text: str) -> None:
    assert wording.duration(seconds) == text


def test_interval_stops_at_what_is_possible() -> None:
    assert wording.interval(Measure(10.0, 10.0), 0, low=0.0) == "0 to 26"


@given(arrays(np.float64, st.integers(1, 60), elements=st.floats(-500.0, 500.0)))
def test_rounded_values_add_up_and_stay_close(values: np.ndarray) -> None:
    rounded = wording.rounded_to_sum(values, 1)
    assert np.abs(rounded - values).max() < 0.1 + 1e-9
    assert abs(rounded.sum() - values.sum()) <= 0.05 + 1e-6


def test_control_characters_do_not_get_through() -> None:
    assert (
        wording.plain("a\x1b[31m\nb") == "a\N{REPLACEMENT CHARACTER}[31m\N{REPLACEMENT CHARACTER}b"
    )


def test_every_cause_has_words_and_a_fill() -> None:
    assert tuple(wording.CAUSE_WORDS) == CAUSES
    assert tuple(CAUSE_FILLS) == CAUSES


def test_every_parameter_has_words(simulated_result: RideResult) -> None:
    names = [item.name for item in simulated_result.estimate.evidence.parameters.items]
    for name in names:
        assert wording.parameter_words(name, "unit of its own").unit != "unit of its own", name


def test_areas_can_be_told_apart_in_grey() -> None:
    surfaces = surface_fills([*load_config().surfaces, "moss", "planks"])
    for fills in (CAUSE_FILLS, TERRAIN_FILLS, surfaces):
        looks = {fill.hatch or grey(fill) for fill in fills.values()}
        assert len(looks) == len(fills)


def grey(fill: Fill) -> float:
    """Luma of the area (Rec. 709)."""
    return round(float(np.dot(fill.shade, (0.2126, 0.7152, 0.0722))), 1)
