"""The few directions that instruments tell apart stand for all unknowns, exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.allocate.builders import CONFIG, make_evidence, make_shown, make_voltage
from tests.motion.builders import plain_ride
from wherewatt.allocate.estimate import Estimate, estimate_ride
from wherewatt.allocate.gauss_newton import laplace_covariance
from wherewatt.allocate.informed import pivoted_root
from wherewatt.allocate.ledger import build_ledger
from wherewatt.allocate.problem import RideProblem
from wherewatt.ingest.sheet import RechargeSheet

RIDE = plain_ride(duration_s=1800.0)
HEIGHT_M = 12.0 * np.sin(RIDE.distance_m / 400.0)
AT_S = np.arange(0.0, 1801.0, 300.0)
PERCENT = np.array([96.0, 93.0, 91.0, 60.0, 86.0, 84.0, 81.0])  # one of them misread


def estimated(**changed: object) -> Estimate:
    shown = make_shown(RIDE, AT_S, PERCENT)
    voltage = make_voltage(RIDE, AT_S[1:4], np.array([40.3, 40.1, 39.8]))
    evidence = make_evidence(RIDE, shown=shown, voltage=voltage, height_m=HEIGHT_M, **changed)  # type: ignore[arg-type]
    return estimate_ride(evidence)


ESTIMATE = estimated()
METERED = estimated(recharge=RechargeSheet(metered_wh=60.0))


@pytest.mark.parametrize("estimate", [ESTIMATE, METERED])
def test_covariance_is_the_inverse_of_the_whole_information(estimate: Estimate) -> None:
    """Tarantola (2005), Inverse Problem Theory, equation 3.53, in all unknowns at once."""
    problem = RideProblem(estimate.evidence)
    scores = estimate.solution.scores
    there = problem.at(scores, problem.load_at(scores)).measurements
    expected = laplace_covariance(there)
    assert estimate.solution.covariance == pytest.approx(expected, abs=1e-9)
    p = len(estimate.evidence.parameters)
    assert estimate.solution.of_parameters == pytest.approx(expected[:p, :p], abs=1e-9)


@pytest.mark.parametrize("estimate", [ESTIMATE, METERED])
def test_the_gradient_vanishes_in_all_unknowns(estimate: Estimate) -> None:
    problem = RideProblem(estimate.evidence)
    scores = estimate.solution.scores
    there = problem.at(scores, problem.load_at(scores)).measurements
    pull = there.slopes.T @ (there.weight * there.residual / there.sd**2)
    # A step of the settings' size along the stiffest direction would change it by this much.
    stiffest = float(np.linalg.eigvalsh(np.linalg.inv(estimate.solution.covariance))[-1])
    assert pull == pytest.approx(scores, abs=CONFIG.estimate.settled * stiffest)


def test_sections_by_their_runs_as_by_their_slopes() -> None:
    cells, edges = METERED.cells, np.arange(len(METERED.evidence.sections) + 1)
    at = np.searchsorted(cells.section, edges)
    slopes = METERED.cell_energy.summed(cells.runs(at[:-1], at[1:]))
    covariance = build_ledger(METERED).section_covariance
    assert covariance == pytest.approx(METERED.solution.of(slopes), rel=1e-9, abs=1e-12)
    sds = METERED.solution.sds(slopes)
    assert sds == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-9)


def test_slopes_of_cells_hold_those_of_the_ride() -> None:
    energy = METERED.cell_energy
    assert energy.slopes.sum(axis=0) == pytest.approx(energy.total_slopes, rel=1e-12, abs=1e-12)


def test_many_call_outs_at_one_place_are_one_direction() -> None:
    """Repeated, they add measurements and no unknowns: the answer is that of their mean."""
    often = np.repeat(AT_S, 3)
    shown = make_shown(RIDE, often, np.repeat(PERCENT, 3))
    estimate = estimate_ride(make_evidence(RIDE, shown=shown))
    assert estimate.solution.converged
    assert len(estimate.solution.told) < len(estimate.evidence.parameters) + len(AT_S) + 1


def test_pivoted_root() -> None:
    """Rank and product of a matrix made of three random rows, in a known order."""
    rows = np.random.default_rng(3).normal(0.0, 1.0, (6, 3))
    root, pivot = pivoted_root(rows @ rows.T, 1e-10)
    assert root.shape == (6, 3)
    assert root @ root.T == pytest.approx(rows @ rows.T, abs=1e-12)
    assert pivot[0] == np.argmax(np.square(rows).sum(axis=1))
    assert np.allclose(np.triu(root[pivot], 1), 0.0)
    nothing, none = pivoted_root(np.zeros((4, 4)), 1e-10)
    assert nothing.shape == (4, 0)
    assert len(none) == 0


def test_it_settles_alike_from_many_settings_of_the_search() -> None:
    finer = replace(CONFIG.estimate, tolerance=1e-7, settled=1e-6, most_rounds=60)
    exact = estimate_ride(replace(ESTIMATE.evidence, settings=finer)).solution
    assert exact.converged
    assert ESTIMATE.solution.scores == pytest.approx(exact.scores, abs=CONFIG.estimate.settled)
