"""Consumption by recharge energy."""

from __future__ import annotations

import pytest

from wherewatt.allocate.ledger import Measure
from wherewatt.outlook.standards import NO_TYPE_TEST, STATED, recharge_consumption


def test_recharge_energy_over_distance() -> None:
    """450 Wh ± 1 % through 0.87 ± 0.03 over 30 km ± 0.5 %: 15.000 ± 0.168, 13.050 ± 0.473 Wh/km.

    Own arithmetic, by JCGM 100:2008, section 5.1.6: relative variances of factors add up.
    """
    found = recharge_consumption(Measure(450.0, 4.5), Measure(0.87, 0.03), Measure(30.0, 0.15))
    assert found.wall.mean == pytest.approx(15.0)
    assert found.wall.sd == pytest.approx(0.168, abs=5e-4)
    assert found.battery.mean == pytest.approx(13.05)
    assert found.battery.sd == pytest.approx(0.473, abs=5e-4)


def test_stated_accuracies() -> None:
    """Those of Regulation (EU) 134/2014, Annex VII, App. 3.3; ISO 13064-1 has the first four."""
    assert {stated.quantity: stated.accuracy for stated in STATED} == {
        "time": "±0.1 s",
        "distance": "±0.1 %",
        "speed": "±1 %",
        "mass": "±0.5 %",
        "temperature": "±1 K",
    }
    assert all("Annex VII, App. 3.3" in stated.clause for stated in STATED)


def test_says_that_a_ride_is_no_type_test() -> None:
    assert "no type test" in NO_TYPE_TEST
