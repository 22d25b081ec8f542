"""The estimate of a ride: what the prior says, what the display adds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.allocate.builders import CONFIG, make_evidence, make_shown, section_every
from tests.motion.builders import plain_ride
from wherewatt.allocate.callouts import ShownPercent
from wherewatt.allocate.estimate import Estimate, Evidence, _mixed, estimate_ride
from wherewatt.allocate.ledger import Ledger, build_ledger
from wherewatt.arrays import FloatArray
from wherewatt.ingest.sheet import RechargeSheet

RIDE = plain_ride(duration_s=3600.0)
AT_S = np.arange(0.0, 3601.0, 300.0)
CAPACITY_WH = 400.0  # as the sheet of `make_evidence` states


def at(estimate: Estimate) -> Ledger:
    return build_ledger(estimate)


def evidence_of(percent: FloatArray | None = None, **changed: RechargeSheet) -> Evidence:
    shown = None if percent is None else make_shown(RIDE, AT_S, percent)
    return make_evidence(RIDE, shown=shown, **changed)


def falling(total_points: float) -> FloatArray:
    """Percent that falls by as much as the handbook's ride would make it, scaled to a total."""
    wh = np.concatenate([[0.0], np.cumsum(HANDBOOK.leg_wh.sum(axis=0))])
    used = np.interp(AT_S, RIDE.time_s, wh) / wh[-1]
    return 95.0 - total_points * used


PRIOR = estimate_ride(evidence_of())
HANDBOOK = at(PRIOR)


def test_without_call_outs_the_posterior_is_the_prior() -> None:
    unknowns = len(PRIOR.solution.scores)
    assert PRIOR.solution.scores == pytest.approx(np.zeros(unknowns), abs=1e-12)
    assert PRIOR.solution.covariance == pytest.approx(np.eye(unknowns), abs=1e-12)
    for item in PRIOR.evidence.parameters.items:
        assert PRIOR.values[item.name] == pytest.approx(item.prior.center)
    assert PRIOR.leg_factor == pytest.approx(np.ones(len(RIDE.standing)))


@pytest.mark.parametrize("change", [0.8, 1.0, 1.25])
def test_good_call_outs_pull_the_total_to_what_the_battery_gave(change: float) -> None:
    """Start less end, times capacity, within a standard deviation."""
    points = change * 100.0 * HANDBOOK.total.mean / CAPACITY_WH
    ledger = at(estimate_ride(evidence_of(falling(points))))
    given = points / 100.0 * CAPACITY_WH
    assert ledger.total.mean == pytest.approx(given, abs=ledger.total.sd)
    assert ledger.total.sd < 0.6 * HANDBOOK.total.sd
    before = abs(HANDBOOK.total.mean - given)
    assert abs(ledger.total.mean - given) < 0.6 * before or before < ledger.total.sd


@pytest.mark.parametrize("place", [1, 6, 11])
@pytest.mark.parametrize("wild", [-40.0, 30.0])
def test_one_wild_call_out_hardly_matters(place: int, wild: float) -> None:
    percent = falling(30.0)
    spoilt = percent.copy()
    spoilt[place] = np.clip(spoilt[place] + wild, 0.0, 100.0)
    good, bad = (estimate_ride(evidence_of(values)) for values in (percent, spoilt))
    assert bad.solution.converged
    assert at(bad).total.mean == pytest.approx(at(good).total.mean, rel=0.02)
    assert bad.callout_weight[place] < 0.2 * np.median(bad.callout_weight)


def test_recharge_narrows_the_total() -> None:
    percent = falling(30.0)
    meter = RechargeSheet(metered_wh=0.3 * CAPACITY_WH)
    without = at(estimate_ride(evidence_of(percent))).total
    metered = at(estimate_ride(evidence_of(percent, recharge=meter))).total
    assert metered.sd < 0.6 * without.sd
    assert metered.mean == pytest.approx(0.3 * CAPACITY_WH, abs=metered.sd)


def test_recharge_alone() -> None:
    meter = RechargeSheet(metered_wh=1.2 * HANDBOOK.total.mean)
    total = at(estimate_ride(evidence_of(recharge=meter))).total
    assert total.mean == pytest.approx(1.2 * HANDBOOK.total.mean, rel=0.03)
    assert total.sd == pytest.approx(CONFIG.estimate.metered_spread * total.mean, rel=0.15)


@pytest.mark.parametrize("efficiency", [0.80, 0.90])
def test_wall_energy_times_efficiency_is_the_battery_s(efficiency: float) -> None:
    recharge = RechargeSheet(
        wall_energy_wh=1.1 * HANDBOOK.total.mean / efficiency, charger_efficiency=efficiency
    )
    estimate = estimate_ride(evidence_of(recharge=recharge))
    total = at(estimate).total
    assert total.mean == pytest.approx(1.1 * HANDBOOK.total.mean, rel=0.02)
    # The charger's own uncertainty is in the total's.
    assert total.sd > 0.8 * total.mean * estimate.value_sds["charger_efficiency"]
    assert estimate.values["charger_efficiency"] == pytest.approx(efficiency, abs=0.01)


def test_wall_energy_is_worth_less_than_a_meter() -> None:
    total = HANDBOOK.total.mean
    wall = estimate_ride(evidence_of(recharge=RechargeSheet(wall_energy_wh=total / 0.87)))
    meter = estimate_ride(evidence_of(recharge=RechargeSheet(metered_wh=total)))
    assert at(meter).total.sd < at(wall).total.sd < HANDBOOK.total.sd


def test_call_outs_inform_the_total_more_than_its_parts() -> None:
    estimate = estimate_ride(evidence_of(falling(30.0)))
    ledger = at(estimate)
    parts = np.sqrt(np.diag(ledger.section_covariance))
    assert ledger.total.sd < np.sum(parts)
    assert ledger.total.sd == pytest.approx(np.sqrt(ledger.section_covariance.sum()), rel=1e-9)


def test_more_call_outs_narrow_the_total() -> None:
    percent = falling(30.0)
    few = make_shown(RIDE, AT_S[[0, -1]], percent[[0, -1]])
    many = at(estimate_ride(evidence_of(percent))).total
    assert many.sd < at(estimate_ride(make_evidence(RIDE, shown=few))).total.sd


def test_one_call_out_says_nothing_about_the_energy() -> None:
    one = make_shown(RIDE, AT_S[:1], np.array([95.0]))
    total = at(estimate_ride(make_evidence(RIDE, shown=one))).total
    assert total.mean == pytest.approx(HANDBOOK.total.mean, rel=1e-3)
    assert total.sd == pytest.approx(HANDBOOK.total.sd, rel=1e-2)


@pytest.mark.parametrize("first", [100.0, 98.0, 60.0, 24.0, 12.0])
def test_it_settles_from_full_to_nearly_empty(first: float) -> None:
    estimate = estimate_ride(evidence_of(np.round(falling(28.0) - 95.0 + first).clip(0.0)))
    assert estimate.solution.converged
    assert estimate.solution.iterations < CONFIG.estimate.most_iterations
    assert np.isfinite(at(estimate).total.mean)


@pytest.mark.parametrize("shown", [0.0, 100.0])
def test_it_settles_where_the_display_stands_at_an_end(shown: float) -> None:
    """There what it should show bends sharply: the search may end in the bend."""
    estimate = estimate_ride(evidence_of(np.full(len(falling(1.0)), shown)))
    assert estimate.solution.converged


def test_rounds_that_were_drawn_too_far_are_not_drawn_out_again() -> None:
    last = (np.zeros(2), np.array([0.1, 0.0]))
    shorter, longer = np.array([0.05, 0.0]), np.array([0.3, 0.0])
    assert _mixed(np.ones(2), shorter, last)[0] > 1.0
    assert np.array_equal(_mixed(np.ones(2), longer, last), np.ones(2))


def test_rising_and_repeating_percent_is_data() -> None:
    percent = np.round(falling(20.0))
    percent[4] += 2.0
    percent[8] = percent[7]
    estimate = estimate_ride(evidence_of(percent))
    assert estimate.solution.converged
    assert at(estimate).total.mean == pytest.approx(0.2 * CAPACITY_WH, rel=0.15)


def test_too_few_iterations_are_told() -> None:
    evidence = evidence_of(falling(40.0))
    settings = replace(evidence.settings, most_iterations=1, most_rounds=2)
    assert not estimate_ride(replace(evidence, settings=settings)).solution.converged


def test_covariance_is_symmetric_and_positive() -> None:
    covariance = estimate_ride(evidence_of(falling(30.0))).solution.covariance
    assert np.array_equal(covariance, covariance.T)
    assert np.linalg.eigvalsh(covariance)[0] > 0.0
    assert np.all(np.diag(covariance) <= 1.0 + 1e-9)  # data never widen


def test_height_modes_keep_the_error_of_the_rises() -> None:
    """Also where the level is unknown by kilometres, as without a terrain tile."""
    sections = section_every(RIDE, 500.0)
    edges = len(sections) + 1
    rises = np.tril(np.ones((edges, edges)), -1) * 0.8  # each section's rise is off by 0.8 m
    evidence = replace(evidence_of(), sections=sections, height_covariance=5e7 + rises @ rises.T)
    modes = np.diff(estimate_ride(evidence).height_modes, axis=0)
    assert modes @ modes.T == pytest.approx(0.64 * np.eye(len(sections)), abs=0.02)


def test_shown_percent_without_rows_is_empty() -> None:
    assert isinstance(PRIOR.evidence.shown, ShownPercent)
    assert len(PRIOR.callout_weight) == 0
