"""What holds for any legs: derivatives, mass, direction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.property.strategies import QUICK, legs
from wherewatt.allocate.loads import Legs, leg_loads
from wherewatt.arrays import FloatArray

VALUES = {
    "mass_kg": 95.0,
    "rolling_resistance": 0.014,
    "drag_area_m2": 0.57,
    "drivetrain_efficiency": 0.78,
    "fixed_loss_w": 11.0,
    "winding_loss_w_n2": 0.007,
    "auxiliary_w": 6.0,
    "unsteadiness_m_s2": 0.09,
    "surface_ratio.asphalt": 1.0,
    "surface_ratio.gravel": 1.7,
    "wind_east_m_s": 1.3,
    "wind_north_m_s": -2.1,
    "regenerative_share": 0.35,
    "day_factor": 1.1,
}
WINDLESS = {**VALUES, "wind_east_m_s": 0.0, "wind_north_m_s": 0.0}
PEDALLED = {**VALUES, "pedal_power_w": 75.0}


def by_differences(ride: Legs, values: dict[str, float], name: str) -> FloatArray:
    """Central difference of the legs' battery energy by a parameter."""
    step = 1e-5 * max(abs(values[name]), 1e-2)
    up, down = (
        leg_loads(ride, {**values, name: values[name] + sign * step}).battery_j
        for sign in (1.0, -1.0)
    )
    return (up - down) / (2.0 * step)


def assert_slopes(ride: Legs, values: dict[str, float], away: FloatArray) -> None:
    """Slopes equal differences on the legs away from a kink, for every parameter."""
    slopes = leg_loads(ride, values).slopes
    assert set(slopes) == set(values)
    for name, slope in slopes.items():
        expected = by_differences(ride, values, name)[away]
        scale = np.max(np.abs(expected), initial=1e-3)
        assert slope[away] == pytest.approx(expected, rel=1e-4, abs=1e-5 * scale + 1e-6), name


@QUICK
@given(legs())
def test_slopes(ride: Legs) -> None:
    assert_slopes(ride, VALUES, np.ones(len(ride.time_s), dtype=bool))


@QUICK
@given(legs())
def test_slopes_without_wind(ride: Legs) -> None:
    assert_slopes(ride, WINDLESS, np.ones(len(ride.time_s), dtype=bool))


@QUICK
@given(legs())
def test_slopes_where_the_rider_pedals(ride: Legs) -> None:
    """Away from the kink where pedalling meets the demand or the demand is nothing."""
    lossless = {**PEDALLED, "drivetrain_efficiency": 1.0, "regenerative_share": 1.0}
    quiet = {
        **lossless,
        "fixed_loss_w": 0.0,
        "winding_loss_w_n2": 0.0,
        "auxiliary_w": 0.0,
        "pedal_power_w": 1e-9,
    }
    demand = leg_loads(ride, quiet).battery_j
    offered = PEDALLED["pedal_power_w"] * np.where(ride.moving, ride.time_s, 0.0)
    away = (np.abs(demand - offered) > 1.0) & (np.abs(demand) > 1.0) | ~ride.moving
    assert_slopes(ride, PEDALLED, away)


@QUICK
@given(legs())
def test_wheel_gain(ride: Legs) -> None:
    """Derivative by work at the wheel, tried with a recorded push of the rider."""
    step = 1e-3
    pushed = leg_loads(replace(ride, rider_j=np.full(len(ride.time_s), step)), VALUES).battery_j
    held = leg_loads(replace(ride, rider_j=np.full(len(ride.time_s), -step)), VALUES).battery_j
    gain = leg_loads(ride, VALUES).wheel_gain
    moving = ride.moving
    assert (held - pushed)[moving] / (2.0 * step) == pytest.approx(gain[moving], abs=1e-5)


@QUICK
@given(legs())
def test_reversing_a_windless_flat_ride_changes_nothing(ride: Legs) -> None:
    flat = replace(ride, rise_m=np.zeros(len(ride.time_s)))
    back = replace(flat, heading_rad=flat.heading_rad + np.pi)
    there = leg_loads(flat, WINDLESS)
    assert leg_loads(back, WINDLESS).battery_j == pytest.approx(there.battery_j, rel=1e-12)
    assert there.causes[2] == pytest.approx(np.zeros(len(ride.time_s)), abs=1e-9)


@QUICK
@given(legs(closed=True), st.floats(50.0, 120.0), st.floats(0.1, 60.0), st.booleans())
def test_a_heavier_rider_never_costs_less(
    ride: Legs, mass_kg: float, more_kg: float, regenerates: bool
) -> None:
    """A windless ride from rest to rest at the same height; wheels without inertia."""
    ride = replace(ride, rotating_mass_kg=0.0)
    share = {"regenerative_share": 0.35 if regenerates else 0.0}
    light = leg_loads(ride, {**WINDLESS, **share, "mass_kg": mass_kg}).battery_j.sum()
    heavy = leg_loads(ride, {**WINDLESS, **share, "mass_kg": mass_kg + more_kg}).battery_j.sum()
    assert heavy >= light


@QUICK
@given(legs(), st.floats(0.0, 1.0))
def test_energy_is_conserved(ride: Legs, share: float) -> None:
    """Causes add up; brakes, drivetrain and auxiliary only take."""
    loads = leg_loads(ride, {**VALUES, "regenerative_share": share})
    assert loads.causes.sum(axis=0) == pytest.approx(loads.battery_j, rel=1e-12, abs=1e-9)
    assert loads.causes[5:8].min() >= -1e-9
