"""What the summary tells programs of parameters, display and verdict."""

from __future__ import annotations

import json

import pytest

from wherewatt.report.result import RideResult
from wherewatt.report.tables import calibration, display, summary, verdict


def test_summary_is_json_without_nan(
    simulated_result: RideResult, handbook_result: RideResult
) -> None:
    for result in (simulated_result, handbook_result):
        assert json.loads(json.dumps(summary(result), allow_nan=False))["schema"]


def test_parameters_say_how_much_the_ride_told(simulated_result: RideResult) -> None:
    rows = calibration(simulated_result, verdict(simulated_result))
    variance = simulated_result.estimate.solution.covariance.diagonal()
    for at, row in enumerate(rows):
        assert row["low90"] < row["mean"] < row["high90"]
        assert row["informed_pct"] == pytest.approx(max(0.0, 100.0 * (1.0 - variance[at])))
        assert ("said nothing" in row["said"]) == (row["informed_pct"] < 10.0)
    told = {row["name"]: row["informed_pct"] for row in rows}
    assert told["start_charge"] > 90.0  # the first call-out tells it
    assert told["mass_kg"] < 10.0  # the sheet does


def test_display_adds_up(simulated_result: RideResult) -> None:
    rows = display(verdict(simulated_result))
    assert len(rows) == len(simulated_result.estimate.evidence.shown)
    for row in rows:
        assert row["shown_pct"] == pytest.approx(row["expected_pct"] + row["residual_points"])
        assert row["residual_points"] * row["residual_sds"] >= 0.0
        assert 0.0 < row["weight_pct"] <= 100.0 + 1e-9
        assert row["set_aside"] == (row["weight_pct"] < 25.0)
        assert row["sd"] > 0.0


def test_verdict_is_sentences(simulated_result: RideResult) -> None:
    sentences = summary(simulated_result)["verdict"]
    assert any(text.startswith("The ride measured") for text in sentences)
    assert all(text[0].isupper() or text[0].isdigit() for text in sentences)


def test_handbook_ride_taught_nothing(handbook_result: RideResult) -> None:
    document = summary(handbook_result)
    assert document["display"] == []
    assert len(document["verdict"]) == 1
    assert document["verdict"][0].startswith("The ride said nothing about")
    assert all(row["informed_pct"] < 1e-6 for row in document["calibration"]["parameters"])
