"""Unit conversions against pint."""

from __future__ import annotations

from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wherewatt.units import (
    JOULES_PER_WATT_HOUR,
    KELVIN_AT_0_C,
    STANDARD_GRAVITY_M_S2,
    SUFFIXES,
    DistanceUnit,
)

UREG: Any = pint.UnitRegistry()
PINT_NAMES = {
    "lb": "pound",
    "kg": "kilogram",
    "mph": "mile / hour",
    "kmh": "kilometer / hour",
    "m_s": "meter / second",
    "f": "degree_Fahrenheit",
    "c": "degree_Celsius",
}


@given(st.sampled_from(sorted(SUFFIXES)), st.floats(-1000.0, 1000.0))
def test_suffixes(suffix: str, value: float) -> None:
    conversion = SUFFIXES[suffix]
    expected = UREG.Quantity(value, PINT_NAMES[suffix]).to(PINT_NAMES[conversion.base]).magnitude
    assert value * conversion.factor + conversion.offset == pytest.approx(expected, abs=1e-9)


def test_constants() -> None:
    assert UREG("watt_hour").to("joule").magnitude == JOULES_PER_WATT_HOUR
    assert UREG("standard_gravity").to("m/s**2").magnitude == STANDARD_GRAVITY_M_S2
    assert UREG.Quantity(0.0, "degree_Celsius").to("kelvin").magnitude == KELVIN_AT_0_C


@pytest.mark.parametrize(
    ("unit", "distance", "height", "speed"),
    [
        (DistanceUnit.KM, "kilometer", "meter", "km/h"),
        (DistanceUnit.MI, "mile", "foot", "mph"),
    ],
)
def test_distance_units(unit: DistanceUnit, distance: str, height: str, speed: str) -> None:
    assert unit.metres == pytest.approx(UREG(distance).to("meter").magnitude)
    assert unit.height_metres == pytest.approx(UREG(height).to("meter").magnitude)
    assert unit.height_name == {"meter": "m", "foot": "ft"}[height]
    assert unit.speed_name == speed
