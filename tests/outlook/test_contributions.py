"""What each cause adds: exact sums, closed forms, and every cause in its own place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.allocate.builders import values_of
from tests.outlook.compare_builders import LOSSY, NEUTRAL, like_neutral, unknowns_of
from wherewatt.allocate.loads import Legs
from wherewatt.outlook.contributions import (
    Contributions,
    Unknowns,
    as_driven,
    contributions,
    shapley_weights,
)
from wherewatt.outlook.switching import OF_THE_DRIVE, Cause, pace
from wherewatt.units import STANDARD_GRAVITY_M_S2

WH_PER_KM_PER_N = 1000.0 / 3600.0  # a newton over a kilometre


def added(legs: Legs, unknowns: Unknowns | None = None) -> Contributions:
    return contributions(as_driven(legs), unknowns or unknowns_of(), NEUTRAL)


def only(result: Contributions, cause: Cause) -> float:
    """What one cause added, once it is seen that no other added anything."""
    for other, wh_per_km in result.by_cause.items():
        if other is not cause:
            assert wh_per_km == pytest.approx(0.0, abs=1e-9), other
    return result.by_cause[cause]


def random_legs(seed: int = 5) -> Legs:
    """Legs in which everything differs from the neutral ride, with two surfaces and stops."""
    rng = np.random.default_rng(seed)
    n = 400
    moving = rng.random(n) > 0.1
    speed = np.where(moving, rng.uniform(2.0, 9.0, n), 0.0)
    time = rng.uniform(1.0, 6.0, n)
    return Legs(
        time_s=time,
        distance_m=speed * time,
        speed_m_s=speed,
        rise_m=np.where(moving, rng.normal(0.0, 0.4, n), 0.0),
        square_speed_change=rng.normal(0.0, 10.0, n),
        heading_rad=rng.uniform(0.0, 2.0 * np.pi, n),
        density_kg_m3=rng.uniform(1.1, 1.3, n),
        moving=moving,
        powered_s=time,
        rider_j=np.where(moving, rng.uniform(0.0, 100.0, n), 0.0),
        surface=rng.integers(0, 2, n),
        surfaces=("asphalt", "gravel"),
        rotating_mass_kg=1.5,
    )


RANDOM_VALUES = values_of(
    **LOSSY
    | {
        "surface_ratio.gravel": 1.7,
        "wind_east_m_s": 1.5,
        "wind_north_m_s": -2.0,
        "mass_kg": 93.0,
        "unsteadiness_m_s2": 0.1,
        "fixed_loss_w": 12.0,
        "winding_loss_w_n2": 0.006,
    }
)


def test_shares_of_the_runway() -> None:
    """The airport game: a runway as long as the longest user's need (Littlechild, Owen 1973).

    Management Science 20:370: each pays an equal part of every piece that it needs, so for needs
    of 1, 2 and 3 the shares are 1/3, 1/3 + 1/2 and 1/3 + 1/2 + 1.
    """
    worth = [max([0, *(i + 1 for i in range(3) if users >> i & 1)]) for users in range(8)]
    assert shapley_weights(3) @ np.array(worth) == pytest.approx([1 / 3, 5 / 6, 11 / 6], abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_shares_add_up_exactly(seed: int) -> None:
    result = added(random_legs(seed), unknowns_of(RANDOM_VALUES))
    whole = result.neutral_wh_per_km + sum(result.by_cause.values())
    assert whole == pytest.approx(result.wh_per_km, abs=1e-9)
    assert set(result.by_cause) == {*OF_THE_DRIVE, Cause.UNEXPLAINED}


def test_neutral_ride_is_the_closed_form() -> None:
    """Level, steady, no wind: roll 3.26888 + air 4.92300 + loss 2.73063 + auxiliary 0.20000 Wh/km.

    Closed form of the power at 25 km/h of 100 kg, 0.60 m², 0.012, 0.75, 5 W at 1.225 kg/m³:
    (m·g·Crr + ½·ρ·CdA·v²)/η + P/v = 11.12251 Wh/km (own arithmetic).
    """
    result = added(like_neutral())
    assert result.wh_per_km == pytest.approx(11.12251, abs=1e-5)
    assert only(result, Cause.WIND) == pytest.approx(0.0, abs=1e-9)
    # What is not of the vehicle is taken out of a wild ride; only its mass is not neutral's.
    wild = added(random_legs(), unknowns_of(RANDOM_VALUES | values_of(**LOSSY)))
    assert wild.neutral_wh_per_km == pytest.approx(11.12251, abs=1e-5)


def test_wind_out_and_back_costs_its_own_square() -> None:
    """Out and back in a wind w < v costs ½·ρ·CdA·w² more on average (identity)."""
    wind_m_s = 3.0
    values = values_of(**LOSSY | {"wind_north_m_s": -wind_m_s})
    more = 0.5 * 1.225 * 0.60 * wind_m_s**2 * WH_PER_KM_PER_N / 0.75
    assert only(added(like_neutral(), unknowns_of(values)), Cause.WIND) == pytest.approx(more)


def test_height_is_weight_times_height() -> None:
    """A hundred metres up: 27.2407 Wh at the wheel for 100 kg (closed form m·g·h)."""
    legs = like_neutral(kilometres=10)
    climb = replace(legs, rise_m=np.full(500, 0.2))
    # On a slope of 1 % the weight on the tyres is 5e-5 less.
    assert only(added(climb), Cause.HEIGHT) == pytest.approx(27.2407 / 0.75 / 10.0, rel=1e-4)


def test_surface_is_its_ratio() -> None:
    legs = like_neutral(surfaces=("asphalt", "gravel"), surface=np.ones(200, dtype=np.intp))
    values = values_of(**LOSSY | {"surface_ratio.gravel": 1.7})
    more = 0.7 * 3.26888 / 0.75  # roll of the closed form above
    found = only(added(legs, unknowns_of(values)), Cause.SURFACE)
    assert found == pytest.approx(more, rel=1e-5)


def test_rider_is_mass() -> None:
    values = values_of(**LOSSY | {"mass_kg": 110.0})
    more = 10.0 * STANDARD_GRAVITY_M_S2 * 0.012 * WH_PER_KM_PER_N / 0.75
    assert only(added(like_neutral(), unknowns_of(values)), Cause.RIDER) == pytest.approx(more)


def test_rider_is_pedalling_too() -> None:
    legs = like_neutral(rider_j=np.full(200, 72.0))  # 3600 J/km
    assert only(added(legs), Cause.RIDER) == pytest.approx(-1.0 / 0.75)


def test_pedalling_that_is_only_assumed_is_the_rider() -> None:
    """50 W at 25 km/h are 2 Wh/km at the wheel."""
    values = values_of(**LOSSY | {"pedal_power_w": 50.0})
    found = only(added(like_neutral(), unknowns_of(values)), Cause.RIDER)
    assert found == pytest.approx(-2.0 / 0.75)


def test_weather_is_density_and_warm_tyres() -> None:
    dense = only(added(like_neutral(density_kg_m3=np.full(200, 1.3))), Cause.WEATHER)
    assert dense == pytest.approx(4.92300 / 0.75 * (1.3 / 1.225 - 1.0), rel=1e-5)
    warmer = replace(NEUTRAL, rolling_factor=0.9)
    cold = contributions(as_driven(like_neutral()), unknowns_of(), warmer)
    assert only(cold, Cause.WEATHER) == pytest.approx(0.1 * 3.26888 / 0.75, rel=1e-5)


def test_speed_is_air_and_time() -> None:
    """At 15 km/h the same vehicle takes 7.05488 Wh/km (closed form as above)."""
    slow = np.full(200, 15.0 / 3.6)
    legs = like_neutral(speed_m_s=slow, time_s=20.0 / slow, powered_s=20.0 / slow)
    assert only(added(legs), Cause.SPEED) == pytest.approx(7.05488 - 11.12251, abs=2e-5)


def test_a_stop_is_its_kinetic_energy_and_its_time() -> None:
    """A leg that brakes from v to a stand, a wait, one that speeds up again.

    Braking 100 kg from 25 km/h leaves 0.66980 Wh in the brakes (closed form ½·m·v²), which the
    battery has to give again at 0.75; in 4 km that is once, and the wait is 30 s of 5 W. What the
    two legs would have taken while braking and speeding up comes off as before.
    """
    legs = like_neutral()
    change = np.zeros(200)
    change[99], change[100] = -(NEUTRAL.speed_m_s**2), NEUTRAL.speed_m_s**2
    powered = legs.powered_s.copy()
    powered[100] += 30.0
    found = only(added(replace(legs, square_speed_change=change, powered_s=powered)), Cause.STOPS)
    resistance_wh = (3.26888 + 4.92300) * 0.02  # of the leg that brakes, of closed form
    expected = ((1.71468 * (25.0 / 40.0) ** 2 - resistance_wh) / 0.75 + 30.0 * 5.0 / 3600.0) / 4.0
    assert found == pytest.approx(expected, rel=1e-4)


def test_pace_keeps_the_air_energy() -> None:
    legs = random_legs()
    square = float(legs.distance_m @ np.square(legs.speed_m_s))
    assert pace(legs) ** 2 * legs.distance_m.sum() == pytest.approx(square)


def test_derivatives_are_those_of_differences() -> None:
    """Of every cause by every parameter, against central differences."""
    legs, step = random_legs(), 1e-5
    result = added(legs, unknowns_of(RANDOM_VALUES))
    for name, number in unknowns_of(RANDOM_VALUES).column.items():
        unit = unknowns_of(RANDOM_VALUES).slopes[name]
        up, down = (
            added(legs, unknowns_of({**RANDOM_VALUES, name: RANDOM_VALUES[name] + way * step}))
            for way in (1.0, -1.0)
        )
        for cause, slopes in result.cause_slopes.items():
            expected = (up.by_cause[cause] - down.by_cause[cause]) / (2.0 * step) * unit
            assert slopes[number] == pytest.approx(expected, abs=2e-5), (name, cause)
