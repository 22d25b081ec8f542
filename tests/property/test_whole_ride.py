"""What holds for any ride: sections partition it, energies add up, directions do not matter."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given

from tests.property.strategies import CONFIG, FEW, QUICK, Plan, analysed, plans
from tests.support.simulator import simulate
from wherewatt.pipeline import analyse
from wherewatt.report.tables import legs_frame, sections_frame
from wherewatt.terrain.tiles import TileFolder


@QUICK
@given(plans())
def test_sections_partition_the_ride(plan: Plan) -> None:
    result = analysed(plan)
    frame, ride = sections_frame(result), result.ride
    assert frame["start_time"].iloc[1:].tolist() == frame["end_time"].iloc[:-1].tolist()
    assert frame["start_km"].iloc[1:].tolist() == frame["end_km"].iloc[:-1].tolist()
    assert frame["start_km"].iloc[0] == 0.0
    assert frame["end_km"].iloc[-1] == pytest.approx(ride.distance_m[-1] / 1000.0, rel=1e-12)
    assert frame["duration_s"].sum() == pytest.approx(plan.time_s[-1], rel=1e-9)
    assert frame["distance_km"].sum() == pytest.approx(ride.distance_m[-1] / 1000.0, rel=1e-9)
    assert frame["stops"].sum() == len(ride.stops)
    assert frame["share_pct"].sum() == pytest.approx(100.0)
    assert np.all(frame["duration_s"] > 0.0)
    label = result.sections.leg_section
    assert len(label) == len(ride.standing)
    assert set(np.diff(label).tolist()) <= {0, 1}


@QUICK
@given(plans())
def test_energies_add_up(plan: Plan) -> None:
    """Causes to the row, rows to the total, legs to rows, to 1e-9 of the total."""
    result = analysed(plan)
    rows, legs = sections_frame(result), legs_frame(result)
    total = result.ledger.total.mean
    slack = 1e-9 * np.abs(result.ledger.leg_wh).sum()
    causes = [f"{cause}_wh" for cause in result.ledger.by_cause]
    assert rows["battery_wh"].sum() == pytest.approx(total, abs=slack)
    assert rows[causes].sum(axis=1).to_numpy() == pytest.approx(
        rows["battery_wh"].to_numpy(), abs=slack
    )
    assert legs.groupby("section")["battery_wh"].sum().to_numpy() == pytest.approx(
        rows["battery_wh"].to_numpy(), abs=slack
    )
    for cause in causes:
        assert legs[cause].sum() == pytest.approx(rows[cause].sum(), abs=slack)
    assert rows["brakes_wh"].min() >= 0.0
    assert rows["battery_wh_sd"].min() >= 0.0


@FEW
@given(plans())
def test_height_and_speed_are_state(plan: Plan) -> None:
    """Height energy is the difference of the ends' heights, speed energy of their speeds."""
    result = analysed(replace(plan, call_outs=0))
    mass = result.estimate.values["mass_kg"]
    rise = float(np.diff(result.height_m[[0, -1]])[0])
    assert result.ledger.by_cause["height"].mean == pytest.approx(
        mass * 9.80665 * rise / 3600.0, abs=1e-6
    )
    squares = np.square(result.ride.speed_m_s[[0, -1]])
    inertia = mass + CONFIG.assumed.rotating_mass_kg
    assert result.ledger.by_cause["speed"].mean == pytest.approx(
        0.5 * inertia * (squares[1] - squares[0]) / 3600.0, abs=1e-6
    )


@FEW
@given(plans())
def test_the_way_back_costs_the_same_on_the_flat(plan: Plan) -> None:
    """Same road the other way at the same speeds, level and windless: the same energy."""
    flat = replace(plan, hill_m=0.0, call_outs=0)
    there = analysed(flat, noise_m=0.0, wind_m_s=0.0)
    back = analysed(flat, noise_m=0.0, wind_m_s=0.0, backwards=True)
    assert back.ledger.total.mean == pytest.approx(there.ledger.total.mean, rel=2e-3)


@FEW
@given(plans())
def test_a_heavier_rider_never_costs_less_on_a_ride(plan: Plan) -> None:
    level_ends = replace(plan, hill_m=0.0, call_outs=0)
    light = analysed(level_ends, rider_kg=60.0, wind_m_s=0.0).ledger.total.mean
    heavy = analysed(level_ends, rider_kg=95.0, wind_m_s=0.0).ledger.total.mean
    assert heavy > light


def test_a_heavier_rider_never_costs_less_on_a_simulated_ride(tmp_path: Path) -> None:
    """The handbook's estimate of a city loop, without regenerative braking."""
    simulated = simulate("city", 3)
    totals = []
    for rider_kg in (55, 75, 100):
        track = simulated.write(tmp_path / str(rider_kg), side_files=("surface",))
        track.with_suffix(".toml").write_text(
            "[vehicle]\nmass_kg = 18\nregenerative_braking = false\n"
            f"[rider]\nmass_kg = {rider_kg}\n",
            encoding="utf-8",
        )
        totals.append(analyse(track, TileFolder(()), CONFIG).ledger.total.mean)
    assert totals == sorted(totals)
