"""What the ride taught: of parameters, of call-outs, of the display."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from tests.allocate.builders import make_evidence, make_shown
from tests.motion.builders import plain_ride
from wherewatt.allocate.callouts import display_sd
from wherewatt.allocate.estimate import Estimate, estimate_ride
from wherewatt.allocate.ledger import build_ledger
from wherewatt.allocate.parameters import value_of
from wherewatt.allocate.phrases import listed, nouns_of, number, phrase_of
from wherewatt.allocate.problem import RideProblem
from wherewatt.allocate.verdict import Verdict, informed, robust_residuals, verdict_of
from wherewatt.arrays import FloatArray

RIDE = plain_ride(duration_s=3600.0)
AT_S = np.arange(0.0, 3601.0, 300.0)
WILD = 6


def estimate_of(percent: FloatArray) -> Estimate:
    return estimate_ride(make_evidence(RIDE, shown=make_shown(RIDE, AT_S, percent)))


def judged(estimate: Estimate, high: float = 0.0) -> Verdict:
    """The verdict if the display stood `high` points above what was left, give or take one."""
    left = (estimate.evidence.shown.percent - high) / 100.0
    return verdict_of(estimate, left, np.full(len(left), 0.01))


def with_score(estimate: Estimate, name: str, value: float, sd: float) -> Estimate:
    """The estimate as if a parameter had come out at a value, its score with this sd."""
    at = estimate.evidence.parameters.index[name]
    prior = estimate.evidence.parameters.items[at].prior
    scores, told = estimate.solution.scores.copy(), estimate.solution.told.copy()
    wanted = value / prior.center
    scores[at] = (np.log(wanted) if prior.kind == "log" else value - prior.center) / prior.spread
    told[at, :] = told[:, at] = 0.0
    told[at, at] = sd**2
    return replace(estimate, solution=replace(estimate.solution, scores=scores, told=told))


PRIOR = estimate_ride(make_evidence(RIDE))
_WH = np.concatenate([[0.0], np.cumsum(build_ledger(PRIOR).leg_wh.sum(axis=0))])
FALLING = 95.0 - 30.0 * np.interp(AT_S, RIDE.time_s, _WH) / _WH[-1]
GOOD = estimate_of(FALLING)
SPOILT = estimate_of(FALLING + np.where(np.arange(len(AT_S)) == WILD, 20.0, 0.0))


def test_without_data_nothing_is_learned() -> None:
    verdict = verdict_of(PRIOR, np.empty(0), np.empty(0))
    assert all(
        parameter.informed_pct == pytest.approx(0.0, abs=1e-9) for parameter in verdict.parameters
    )
    assert all("said nothing about" in parameter.said for parameter in verdict.parameters)
    assert verdict.call_outs == ()
    assert len(verdict.sentences) == 1
    assert verdict.sentences[0].startswith("The ride said nothing about the mass")


def test_informed_is_the_share_of_variance_that_went() -> None:
    """A score known to half its prior sd has lost three quarters of its variance."""
    told = judged(with_score(GOOD, "drag_area_m2", 0.5, 0.5)).parameters
    (drag,) = (of for of in told if of.item.name == "drag_area_m2")
    assert drag.informed_pct == pytest.approx(75.0)
    assert drag.said.startswith("The ride measured the drag area: 0.500 m² (0.431 to 0.580 m²)")
    assert 0.0 <= informed(GOOD).min() <= informed(GOOD).max() <= 1.0


def test_intervals_are_on_the_scale_of_the_prior() -> None:
    """Of a logarithm the mean is the geometric middle of the interval; of a line the middle.

    The ends are the quantiles of the normal distribution on that scale, by SciPy.
    """
    quantile = stats.norm.ppf([0.05, 0.95])
    for of in judged(GOOD).parameters:
        if of.item.prior.kind == "log":
            assert of.low90 * of.high90 == pytest.approx(of.mean**2)
        elif of.item.prior.kind == "linear":
            assert of.low90 + of.high90 == pytest.approx(2.0 * of.mean)
        assert of.low90 < of.mean < of.high90
        at = GOOD.evidence.parameters.index[of.item.name]
        sd = float(np.sqrt(GOOD.solution.covariance[at, at]))
        ends = [value_of(of.item.prior, GOOD.solution.scores[at] + way * sd) for way in quantile]
        assert sorted(ends) == pytest.approx([of.low90, of.high90], rel=1e-9)


def test_residuals_from_weights_are_those_of_the_display() -> None:
    problem = RideProblem(SPOILT.evidence)
    sd = display_sd(problem.load_at(SPOILT.solution.scores), SPOILT.evidence.settings)
    residual = SPOILT.evidence.shown.percent - SPOILT.display.percent
    assert robust_residuals(SPOILT) == pytest.approx(residual / sd, rel=1e-3, abs=1e-3)


def test_a_wild_call_out_is_set_aside_and_named() -> None:
    verdict = judged(SPOILT, high=1.0)
    aside = [of.set_aside for of in verdict.call_outs]
    assert aside == [at == WILD for at in range(len(AT_S))]
    wild = verdict.call_outs[WILD]
    assert wild.weight_pct < 25.0 < min(of.weight_pct for of in verdict.call_outs if of is not wild)
    assert wild.residual_points == pytest.approx(20.0, abs=2.0)
    (named,) = (text for text in verdict.sentences if "set aside" in text)
    assert named.startswith(
        f"{wild.place}: shown {wild.shown_pct:.0f} %, 1 point above what was left"
    )


def test_a_good_call_out_keeps_its_weight() -> None:
    assert all(50.0 < of.weight_pct <= 100.0 + 1e-9 for of in judged(GOOD).call_outs)


@pytest.mark.parametrize(("off", "word"), [(7.0, "high"), (-7.0, "low")])
def test_display_that_stands_off(off: float, word: str) -> None:
    """7 points, 1.645 either way."""
    first, *_ = judged(GOOD, high=off).sentences
    assert re.fullmatch(rf"The display stood 7 points {word} at \d+\.\d km \(5 to 9\)", first)


def test_display_that_may_be_right_is_not_accused() -> None:
    assert not any("stood" in text for text in judged(GOOD, high=2.0).sentences)


def test_delay_and_sag_only_where_informed() -> None:
    late = judged(with_score(GOOD, "display_delay_s", 90.0, 0.3)).sentences
    assert any(text.startswith("The display runs about 90 s late (") for text in late)
    vague = judged(with_score(GOOD, "display_delay_s", 90.0, 0.9)).sentences
    assert not any("late" in text for text in vague)
    sagging = judged(with_score(GOOD, "display_sag", 4.0, 0.2)).sentences
    assert any(text.startswith("The display sags 4.0 points per kW (") for text in sagging)


@pytest.mark.parametrize(
    ("bend", "sd", "counts"),
    [(1.1, 0.3, "charge rather"), (-0.1, 0.3, "energy rather"), (0.8, 0.5, "")],
)
def test_what_the_display_counts(bend: float, sd: float, counts: str) -> None:
    verdict = judged(with_score(GOOD, "display_bend", bend, sd))
    said = [text for text in verdict.sentences if "counts" in text]
    assert len(said) == bool(counts)
    assert all(counts in text for text in said)


def test_numbers_in_sentences() -> None:
    assert number(0.47123, 0.05) == "0.471"
    assert number(-1.26, 1.4) == "−1.3"
    assert number(283.4, 20.0) == "283"
    assert phrase_of("drivetrain_efficiency").between(0.75, 0.89) == "75.0 to 89.0 %"
    assert phrase_of("never_heard_of").noun == "never heard of"
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    surfaces = ["drag_area_m2", "surface_ratio.dirt", "surface_ratio.worn_asphalt"]
    assert nouns_of(surfaces)[1:] == ["the surfaces (dirt and worn asphalt) against smooth asphalt"]


def test_every_unknown_has_words() -> None:
    for item in GOOD.evidence.parameters.items:
        assert phrase_of(item.name).noun.startswith("the "), item.name
