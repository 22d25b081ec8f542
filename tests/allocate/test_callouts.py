"""Call-outs: placed on the ride, and predicted with the errors of the display."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.allocate.builders import CONFIG, make_shown
from tests.motion.builders import plain_ride
from wherewatt.allocate.callouts import (
    Load,
    Prediction,
    display_sd,
    predict_display,
    shown_percent,
)
from wherewatt.errors import SideFileError
from wherewatt.ingest.place import parse_place
from wherewatt.ingest.readings import CallOut, CallOutState
from wherewatt.motion.locate import Locator

RIDE = plain_ride(stops=())
PLAIN = {
    "start_charge": 0.9,
    "battery_usable_wh": 400.0,
    "display_bend": 0.0,
    "display_sag": 0.0,
    "display_delay_s": 0.0,
}


def call_out(at: str, percent: float, line: int = 2, state: str = "") -> CallOut:
    return CallOut(parse_place(at), percent, math.nan, CallOutState(state), "", line)


def predict(
    used_wh: float, power_w: float = 0.0, *, resting: bool = False, **changed: float
) -> Prediction:
    shown = make_shown(RIDE, np.array([600.0]), np.array([50.0]), resting=resting)
    values = {**PLAIN, **changed}
    return predict_display(shown, np.array([used_wh]), load(used_wh, power_w), values)


def load(used_wh: float, power_w: float) -> Load:
    power, used_share = np.array([power_w]), np.array([used_wh / 400.0])
    return Load(power, power, used_share, 0.9 - used_share, 400.0)


def sd(used_wh: float, power_w: float) -> float:
    return float(display_sd(load(used_wh, power_w), CONFIG.estimate)[0])


def test_order_of_the_file_does_not_matter() -> None:
    rows = [call_out("0 km", 90), call_out("0:10:00", 84), call_out("5 km", 80)]
    locator = Locator(RIDE)
    forward = shown_percent(rows, locator, "ride.readings.csv")
    backward = shown_percent(rows[::-1], locator, "ride.readings.csv")
    assert forward.percent.tolist() == backward.percent.tolist() == [90, 84, 80]
    assert forward.time_s.tolist() == backward.time_s.tolist()
    assert forward.distance_m.tolist() == backward.distance_m.tolist()


def test_order_of_call_outs_at_one_place_does_not_matter() -> None:
    rows = [call_out("0:10:00", percent) for percent in (90, 94, 70)]
    locator = Locator(RIDE)
    forward = shown_percent(rows, locator, "ride.readings.csv")
    backward = shown_percent(rows[::-1], locator, "ride.readings.csv")
    assert forward.percent.tolist() == backward.percent.tolist()


def test_voltage_alone_is_no_percent() -> None:
    rows = [call_out("0 km", 90), call_out("2 km", math.nan)]
    assert len(shown_percent(rows, Locator(RIDE), "ride.readings.csv")) == 1


def test_no_call_outs() -> None:
    assert len(shown_percent([], Locator(RIDE), "ride.readings.csv")) == 0


def test_all_call_outs_outside_the_ride_at_once() -> None:
    rows = [call_out("0 km", 90, 2), call_out("90 km", 80, 3), call_out("5:00:00", 70, 4)]
    with pytest.raises(SideFileError) as caught:
        shown_percent(rows, Locator(RIDE), "ride.readings.csv")
    assert [problem.place for problem in caught.value.problems] == ["line 3", "line 4"]


def test_counting_display() -> None:
    """90 % at the start, 100 of 400 Wh used: 65 %."""
    assert predict(100.0).percent[0] == pytest.approx(65.0)


def test_bent_display_stands_above_a_straight_one() -> None:
    """A display that counts charge shows more than the energy that is left."""
    assert 1.0 < predict(100.0, display_bend=1.0).percent[0] - 65.0 < 5.0


def test_sag_under_load_only() -> None:
    riding = predict(100.0, 500.0, display_sag=8.0)
    resting = predict(100.0, 500.0, display_sag=8.0, resting=True)
    assert riding.percent[0] == pytest.approx(65.0 - 4.0)
    assert resting.percent[0] == pytest.approx(65.0)
    assert predict(100.0, -500.0, display_sag=8.0).percent[0] == pytest.approx(65.0)


def test_late_display_shows_what_was() -> None:
    """60 s late at 400 W and 400 Wh: 1.67 points too many."""
    late = predict(100.0, 400.0, display_delay_s=60.0)
    assert late.percent[0] == pytest.approx(65.0 + 100.0 / 60.0)
    assert sd(100.0, 400.0) > sd(100.0, 0.0)


def test_near_empty_says_little() -> None:
    assert sd(330.0, 100.0) > 2.0 * sd(100.0, 100.0)


def test_full_display_cannot_show_more() -> None:
    """100 % shown while more than full is predicted: no contradiction, and no information."""
    shown = make_shown(RIDE, np.array([600.0]), np.array([100.0]))
    values = {**PLAIN, "start_charge": 1.04}
    prediction = predict_display(shown, np.zeros(1), load(0.0, 0.0), values)
    assert prediction.percent[0] == 100.0
    assert prediction.per_used[0] == 0.0
    assert all(slope[0] == 0.0 for slope in prediction.slopes.values())
