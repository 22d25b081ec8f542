"""Energy of the legs by cause: the balance is an identity."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from tests.allocate.builders import make_legs, values_of
from wherewatt.allocate.balance import _positive_part
from wherewatt.allocate.loads import CAUSES, Legs, leg_loads
from wherewatt.units import STANDARD_GRAVITY_M_S2

LOSSY = {
    "drivetrain_efficiency": 0.8,
    "fixed_loss_w": 12.0,
    "winding_loss_w_n2": 0.006,
    "auxiliary_w": 5.0,
}


def downhill() -> Legs:
    """100 m of road at −8 %, at 5 m/s."""
    return make_legs(np.array([5.0]), distance_m=np.array([100.0]), rise_m=np.array([-8.0]))


def cause(name: str, legs: Legs, values: dict[str, float]) -> float:
    return float(leg_loads(legs, values).causes[CAUSES.index(name)].sum())


def test_brakes_take_what_is_left_over() -> None:
    values = values_of()
    wheel = sum(
        cause(name, downhill(), values) for name in ("rolling", "air", "wind", "height", "speed")
    )
    assert wheel < 0
    assert cause("brakes", downhill(), values) == pytest.approx(-wheel)
    assert leg_loads(downhill(), values).battery_j[0] == pytest.approx(0.0, abs=1e-6)


def test_regenerative_braking_returns_a_share() -> None:
    braked = cause("brakes", downhill(), values_of())
    values = values_of(regenerative_share=0.4, drivetrain_efficiency=0.8)
    assert cause("brakes", downhill(), values) == pytest.approx(0.6 * braked)
    assert leg_loads(downhill(), values).battery_j[0] == pytest.approx(-0.4 * 0.8 * braked)


def test_brakes_are_never_negative() -> None:
    rng = np.random.default_rng(3)
    legs = make_legs(
        rng.uniform(1.0, 10.0, 200),
        rise_m=rng.normal(0.0, 0.3, 200),
        square_speed_change=rng.normal(0.0, 8.0, 200),
    )
    for unsteadiness in (1e-12, 0.1):
        values = values_of(**LOSSY, regenerative_share=0.3, unsteadiness_m_s2=unsteadiness)
        assert leg_loads(legs, values).causes[CAUSES.index("brakes")].min() >= 0.0


def test_driven_share_is_the_normal_distribution() -> None:
    """Share driven and mean positive part of a fluctuating demand, by `scipy.special.ndtr`."""
    mean = np.concatenate(
        [-np.geomspace(1e-9, 1e3, 500)[::-1], [0.0], np.geomspace(1e-9, 1e3, 500)]
    )
    for sd in (1e-3, 1.0, 40.0):
        pushed, driving, _ = _positive_part(mean, np.full_like(mean, sd))
        ratio = mean / sd
        assert driving == pytest.approx(ndtr(ratio), abs=2e-9)
        density = np.exp(-0.5 * ratio**2) / np.sqrt(2.0 * np.pi)
        assert pushed == pytest.approx(mean * ndtr(ratio) + sd * density, abs=2e-9 * sd)
        assert (pushed >= np.maximum(mean, 0.0)).all()


def test_causes_add_up_to_the_battery() -> None:
    rng = np.random.default_rng(4)
    legs = make_legs(rng.uniform(1.0, 10.0, 50), rise_m=rng.normal(0.0, 0.3, 50))
    loads = leg_loads(legs, values_of(**LOSSY, wind_east_m_s=2.0, wind_north_m_s=-3.0))
    assert loads.causes.sum(axis=0) == pytest.approx(loads.battery_j, rel=1e-12)


def test_standing_costs_auxiliary_power_only() -> None:
    legs = replace(
        make_legs(np.array([0.0]), distance_m=None),
        time_s=np.array([60.0]),
        powered_s=np.array([60.0]),
    )
    values = values_of(**LOSSY, wind_north_m_s=-8.0)
    assert leg_loads(legs, values).battery_j[0] == pytest.approx(300.0)


def test_pause_switched_off_costs_nothing_more() -> None:
    legs = replace(
        make_legs(np.array([0.0])), time_s=np.array([36_000.0]), powered_s=np.array([3600.0])
    )
    assert leg_loads(legs, values_of(auxiliary_w=5.0)).battery_j[0] == pytest.approx(18_000.0)


def test_wind_is_what_the_wind_adds() -> None:
    legs = make_legs(np.array([6.0, 6.0]), heading_rad=np.array([0.0, np.pi]))
    loads = leg_loads(legs, values_of(wind_north_m_s=-3.0))  # blows to the south
    wind = loads.causes[CAUSES.index("wind")]
    assert wind[0] == pytest.approx(0.5 * 1.225 * 0.6 * (9.0**2 - 6.0**2) * 6.0)
    assert wind[1] == pytest.approx(0.5 * 1.225 * 0.6 * (3.0**2 - 6.0**2) * 6.0)


def test_strong_tailwind_pushes() -> None:
    legs = make_legs(np.array([3.0]))
    loads = leg_loads(legs, values_of(wind_north_m_s=10.0))
    whole = loads.causes[[CAUSES.index("air"), CAUSES.index("wind")]].sum()
    assert whole == pytest.approx(-0.5 * 1.225 * 0.6 * 7.0**2 * 3.0)


def test_surfaces_roll_by_their_ratio() -> None:
    legs = make_legs(np.array([5.0, 5.0]), surface=[0, 1], surfaces=("asphalt", "gravel"))
    loads = leg_loads(legs, values_of(**{"surface_ratio.gravel": 1.7}))
    rolling = loads.causes[CAUSES.index("rolling")]
    assert rolling[0] == pytest.approx(0.012 * 100.0 * STANDARD_GRAVITY_M_S2 * 5.0)
    assert rolling[1] == pytest.approx(1.7 * rolling[0])


def test_recorded_pedalling_spares_the_battery() -> None:
    legs = make_legs(np.array([6.0]), distance_m=np.array([600.0]))
    values = values_of(drivetrain_efficiency=0.8)
    alone = leg_loads(legs, values)
    helped = leg_loads(replace(legs, rider_j=np.array([1000.0])), values)
    assert helped.causes[CAUSES.index("rider")][0] == -1000.0
    assert alone.battery_j[0] - helped.battery_j[0] == pytest.approx(1000.0 / 0.8)


def test_assumed_pedalling_never_exceeds_the_demand() -> None:
    legs = make_legs(np.array([2.0, 9.0]), distance_m=np.array([200.0, 900.0]))
    values = values_of(pedal_power_w=120.0)
    rider = leg_loads(legs, values).causes[CAUSES.index("rider")]
    demand = leg_loads(legs, values_of()).battery_j
    assert demand[0] < 120.0 * 100.0 < demand[1]
    assert rider == pytest.approx([-demand[0], -12_000.0])


def test_fluctuation_makes_a_leg_in_balance_drive_a_little() -> None:
    """At balance the mean positive part of a normal variable is σ/√(2π)."""
    distance = 100.0
    level = make_legs(np.array([5.0]), distance_m=np.array([distance]))
    force = leg_loads(level, values_of()).battery_j[0] / distance
    balanced = replace(level, square_speed_change=np.array([-2.0 * force * distance / 100.0]))
    values = values_of(unsteadiness_m_s2=0.1)
    expected = 100.0 * 0.1 * distance / np.sqrt(2.0 * np.pi)
    assert leg_loads(balanced, values).battery_j[0] == pytest.approx(expected, rel=1e-6)
    assert cause("brakes", balanced, values) == pytest.approx(expected, rel=1e-6)


def test_fluctuation_does_not_change_steady_driving() -> None:
    level = make_legs(np.array([8.0]), distance_m=np.array([1000.0]))
    steady = leg_loads(level, values_of(**LOSSY)).battery_j[0]
    restless = leg_loads(level, values_of(**LOSSY, unsteadiness_m_s2=0.05)).battery_j[0]
    assert restless == pytest.approx(steady, rel=0.001)
