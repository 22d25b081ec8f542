"""Draws against the first order, and the distance at which an energy is spent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.outlook.builders import CONFIG, STRONG, straight
from wherewatt.allocate.loads import leg_loads
from wherewatt.ingest.sheet import WeatherSheet
from wherewatt.outlook.demand import Demand, demand_of
from wherewatt.outlook.draws import Spread, Used, draw, reach_m, shown_pct, start_share, used_by
from wherewatt.outlook.scenario import Scenario, ride_scenario
from wherewatt.outlook.vehicle import Day, Known, find_vehicle, known_on


@pytest.fixture(scope="module")
def known() -> Known:
    return known_on(find_vehicle("e-scooter", None, CONFIG), Day(80.0), ["asphalt", "dirt"], CONFIG)


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    course = straight(8000.0, stops_m=(3000.0,), loop=True)
    return Scenario(replace(course, height_m=8.0 * np.sin(course.edge_m / 127.3)), CONFIG.pace)


def test_slopes_are_the_derivatives(known: Known, scenario: Scenario) -> None:
    """Against differences, the speeds held."""
    demand = demand_of(scenario, known, CONFIG)
    legs = ride_scenario(scenario, known, CONFIG).legs
    step = 1e-4
    for number in range(len(known.parameters)):
        moved = [known.scores.copy() for _ in range(2)]
        moved[0][number] -= step
        moved[1][number] += step
        low, high = (
            leg_loads(legs, known.parameters.values(scores)).battery_j.sum() / 3600.0
            for scores in moved
        )
        found = float(demand.slopes[:, number].sum())
        assert found == pytest.approx((high - low) / 2.0 / step, rel=1e-4, abs=1e-6)


def test_draws_spread_as_the_first_order_says(known: Known, scenario: Scenario) -> None:
    demand = demand_of(scenario, known, CONFIG)
    draws = draw(known, len(demand.stretches.spread), CONFIG.outlook)
    total = used_by(draws, demand, CONFIG.outlook).wh[:, -1]
    spread = demand.total.sd / demand.total.mean
    assert np.median(total) == pytest.approx(demand.total.mean, rel=0.02)
    assert np.std(np.log(total)) == pytest.approx(spread, rel=0.05)


def test_energy_along_the_way_only_grows_on_the_flat(known: Known) -> None:
    demand = demand_of(Scenario(straight(5000.0), CONFIG.pace), known, CONFIG)
    draws = draw(known, len(demand.stretches.spread), CONFIG.outlook)
    used = used_by(draws, demand, CONFIG.outlook)
    assert used.at_m[[0, -1]] == pytest.approx([0.0, 5000.0])
    assert np.mean(np.diff(used.wh, axis=1) > 0.0) > 0.999
    assert np.array_equal(used.up_to(used.at_m[1:]), used.wh[:, 1:])


def test_more_headwind_is_more_wind(known: Known) -> None:
    """Straight ahead, 3 m/s more headwind is the wind vector moved by 3 m/s."""
    course = straight(3000.0)
    more = Scenario(course, CONFIG.pace, more_headwind_m_s=3.0)
    legs = ride_scenario(Scenario(course, CONFIG.pace), known, CONFIG).legs
    values = known.values
    vector = {**values, "wind_north_m_s": values["wind_north_m_s"] - 3.0}
    added = more.loads(legs, values).battery_j.sum()
    assert added == pytest.approx(leg_loads(legs, vector).battery_j.sum(), rel=1e-3)


def test_wind_of_unknown_direction_costs_energy(known: Known) -> None:
    """The mean of (v + w)² is v² plus the variance of w: ½ρ·CdA·σ² more, at the battery.

    As much again by half from the side: |v|·v_along is v² + w²/2 for small w across.

    Less the variance of an ordinary day, which is in what was learned.
    """
    weather = WeatherSheet(wind_speed_m_s=8.0)
    windy = known_on(known.vehicle, Day(80.0, weather), ["asphalt"], CONFIG)
    demand = demand_of(Scenario(straight(10_000.0), STRONG), windy, CONFIG)
    draws = draw(windy, len(demand.stretches.spread), CONFIG.outlook)
    used = used_by(draws, demand, CONFIG.outlook).wh[:, -1]
    added = (
        np.log(used).mean()
        - np.log(used_by(draws, unbent(demand), CONFIG.outlook).wh[:, -1]).mean()
    )
    sd = windy.parameters.items[windy.parameters.index["wind_north_m_s"]].prior.spread
    ordinary = CONFIG.priors["wind_m_s"].spread
    values = windy.values
    density = float(
        ride_scenario(Scenario(straight(10_000.0), STRONG), windy, CONFIG).legs.density_kg_m3[0]
    )
    force = 0.5 * density * values["drag_area_m2"] * 1.5 * (sd**2 - ordinary**2)
    wanted = force * 10_000.0 / 3600.0 / values["drivetrain_efficiency"]
    assert added * demand.total.mean == pytest.approx(wanted, rel=0.2)  # and the winding's heat


def unbent(demand: Demand) -> Demand:
    flat = replace(demand.wind_bend, legs=np.zeros_like(demand.wind_bend.legs))
    return replace(demand, wind_bend=flat)


def used(*wh: float) -> Used:
    """One draw over a lap of 1 km."""
    at = np.linspace(0.0, 1000.0, len(wh))
    return Used(at, at / 5.0, np.array([wh]))


@pytest.mark.parametrize(
    ("lap", "energy", "reach"),
    [
        ((0.0, 10.0), 5.0, 500.0),
        ((0.0, 10.0), 10.0, 1000.0),
        ((0.0, 10.0), 25.0, 2500.0),
        ((0.0, 10.0), 0.0, 0.0),
        ((0.0, 10.0), -3.0, 0.0),
        ((0.0, 12.0, 10.0), 11.0, 1000.0 * 11.0 / 24.0),  # a climb, then some comes back
        ((0.0, 12.0, 10.0), 21.0, 1000.0 + 1000.0 * 11.0 / 24.0),
        ((0.0, 5.0, -1.0), 4.0, 400.0),
        ((0.0, 5.0, -1.0), 6.0, np.inf),  # downhill all in all, with recovery
    ],
)
def test_reach(lap: tuple[float, ...], energy: float, reach: float) -> None:
    assert reach_m(used(*lap), np.array([energy]))[0] == pytest.approx(reach)


def test_quantiles() -> None:
    draws = np.linspace(0.0, 1.0, 2001)
    assert Spread.of(draws) == Spread(*(pytest.approx(q, abs=1e-3) for q in (0.5, 0.05, 0.95)))
    assert Spread.of(np.append(draws, [np.inf] * 2001)).high90 == np.inf


def test_display_and_energy_are_there_and_back(known: Known) -> None:
    """What a display shows at the charge it was read at is what was read, misreading apart."""
    draws = draw(known, 1, CONFIG.outlook)
    start = start_share(draws, 60.0, CONFIG.estimate)
    shown = shown_pct(draws, start[:, None])[:, 0]
    assert np.median(shown) == pytest.approx(60.0, abs=0.2)
    assert np.std(shown) == pytest.approx(np.hypot(1.3, 0.29), rel=0.05)
    assert np.array_equal(start_share(draws, None, CONFIG.estimate), np.ones(len(draws)))


def test_same_question_same_answer(known: Known) -> None:
    first, second = (draw(known, 3, CONFIG.outlook) for _ in range(2))
    assert np.array_equal(first.scores, second.scores)
    assert first.stretch.mean(axis=0) == pytest.approx(np.zeros(3), abs=1e-12)  # opposite pairs
