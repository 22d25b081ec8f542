"""Predictions: what is asked, what cannot be, and a known vehicle under other conditions."""

from __future__ import annotations

import json
from dataclasses import replace
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from benchmarks.outlook import Score, score_vehicle
from rich.console import Console

from tests.outlook.builders import CONFIG, straight
from wherewatt.config import with_reference
from wherewatt.errors import InputError
from wherewatt.ingest.sheet import VehicleSheet, WeatherSheet
from wherewatt.outlook.asked import Request
from wherewatt.outlook.draws import Spread
from wherewatt.outlook.plans import reference_course
from wherewatt.outlook.predict import Change, Prediction, predict
from wherewatt.outlook.predict_json import SCHEMA, document
from wherewatt.outlook.predict_view import row_every_m, view_of
from wherewatt.outlook.printed import as_markdown, print_out
from wherewatt.outlook.vehicle import Day, Vehicle
from wherewatt.units import DistanceUnit

STILL = WeatherSheet(temperature_c=20.0, wind_speed_m_s=0.0, wind_from_deg=0.0)
SCOOTER = Vehicle(
    "Tern",
    VehicleSheet(name="Tern", mass_kg=20.0, battery_nominal_wh=500.0),
    CONFIG.vehicles["e-scooter"],
    (),
)


def asked(**changed: object) -> Request:
    course = reference_course(CONFIG.reference, CONFIG.outlook)
    request = Request(
        vehicle=SCOOTER,
        day=Day(80.0, STILL),
        course=course.with_stops(CONFIG.pace.stops_per_km),
        to_the_end=False,
        pace=CONFIG.pace,
        battery_pct=None,
        reserve_pct=10.0,
    )
    return replace(request, **changed)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def usual() -> Prediction:
    return predict(asked(), 2000.0, CONFIG)


def test_range_is_capacity_over_consumption(usual: Prediction) -> None:
    capacity = usual.known.values["battery_usable_wh"]
    assert usual.full_range_m.median / 1000.0 == pytest.approx(
        capacity / usual.wh_per_km.median, rel=0.02
    )
    assert usual.range_m.median == pytest.approx(0.9 * usual.full_range_m.median, rel=0.02)


def test_charge_along_the_course_falls(usual: Prediction) -> None:
    left = [mark.left.median for mark in usual.along]
    assert left[0] == 1.0
    assert np.all(np.diff(left) < 0.0)
    assert usual.along[-1].at_m == pytest.approx(20_000.0)
    used = usual.wh_per_km.median * 20.0 / usual.known.values["battery_usable_wh"]
    assert left[-1] == pytest.approx(1.0 - used, abs=0.02)
    widths = [mark.left.high90 - mark.left.low90 for mark in usual.along]
    assert np.all(np.diff(widths) > 0.0)


def test_what_changes_are_worth(usual: Prediction) -> None:
    """Signs, and 10 kg against the closed form: rolling and climbing only, at the same losses."""
    worth = {each.change: each for each in usual.worth}
    assert set(worth) == set(Change)
    for each in usual.worth:
        assert each.wh_per_km.median > 0.0
        assert each.range_m.median < 0.0
        assert each.wh_per_km.low90 < each.wh_per_km.median < each.wh_per_km.high90
    rolling = usual.known.values["rolling_resistance"] * 10.0 * 9.80665 / 3.6
    at_battery = rolling / usual.known.values["drivetrain_efficiency"]
    # More than that: it is braked at stops and on descents, and heats the winding on climbs.
    assert at_battery < worth[Change.MASS].wh_per_km.median < 2.0 * at_battery


def test_a_change_is_what_a_second_prediction_says(usual: Prediction) -> None:
    heavier = predict(asked(day=Day(90.0, STILL)), 2000.0, CONFIG)
    change = next(each for each in usual.worth if each.change is Change.MASS)
    assert heavier.wh_per_km.median - usual.wh_per_km.median == pytest.approx(
        change.wh_per_km.median, rel=0.05
    )
    # What is unknown of the vehicle is the same before and after.
    own = change.wh_per_km.high90 - change.wh_per_km.low90
    assert own < 0.3 * (usual.wh_per_km.high90 - usual.wh_per_km.low90)


def test_half_a_pack_and_another_reserve(usual: Prediction) -> None:
    half = predict(asked(battery_pct=50.0, reserve_pct=20.0), 2000.0, CONFIG)
    assert half.full_range_m == usual.full_range_m
    assert half.along[0].shown_pct.median == pytest.approx(50.0, abs=0.3)
    assert half.range_m.median == pytest.approx(0.28 * usual.full_range_m.median, rel=0.08)


def test_cold_and_wind_and_speed_cost_range(usual: Prediction) -> None:
    cold = replace(STILL, temperature_c=-5.0)
    fast = replace(CONFIG.pace, top_speed_m_s=9.0)
    windy = replace(STILL, wind_speed_m_s=10.0, wind_from_deg=0.0)
    for request in (asked(day=Day(80.0, cold)), asked(pace=fast), asked(day=Day(80.0, windy))):
        other = predict(request, 2000.0, CONFIG)
        assert other.full_range_m.median < 0.95 * usual.full_range_m.median
        assert np.isfinite(other.full_range_m.high90)


def test_reserve_above_the_charge() -> None:
    with pytest.raises(InputError, match=r"--reserve: found 30 %, expected less than .* 20 %"):
        predict(asked(battery_pct=20.0, reserve_pct=30.0), 2000.0, CONFIG)


def test_course_longer_than_the_pack() -> None:
    far = straight(90_000.0)
    with pytest.raises(InputError, match=r"course of 90\.0 km") as caught:
        predict(asked(course=far, to_the_end=True), 2000.0, CONFIG)
    assert "\n" not in str(caught.value)
    assert "90 % interval" in str(caught.value)
    predict(asked(course=far), 10_000.0, CONFIG)  # as an example it may be as long as it likes


def test_slower_than_walking() -> None:
    with pytest.raises(InputError, match="--top-speed-kmh"):
        predict(asked(pace=replace(CONFIG.pace, top_speed_m_s=1.0)), 2000.0, CONFIG)


def test_downhill_with_recovery_has_no_end() -> None:
    sheet = replace(SCOOTER.sheet, regenerative_braking=True)
    course = replace(straight(5000.0, grade=-0.08), loop=True)
    request = asked(course=course, vehicle=replace(SCOOTER, sheet=sheet))
    prediction = predict(request, 1000.0, CONFIG)
    assert prediction.full_range_m.median == np.inf
    text = as_markdown(view_of(prediction, CONFIG, DistanceUnit.KM))
    assert "without end" in text
    assert json.dumps(document(prediction, CONFIG), allow_nan=False)


def test_notes_say_what_is_missing() -> None:
    bare = Vehicle("e-scooter", VehicleSheet(), CONFIG.vehicles["e-scooter"], ())
    steep = replace(CONFIG.pace, wheel_power_w=60.0, wheel_force_n=60.0)
    course = straight(3000.0, grade=0.1, surface="untagged")
    weather = replace(STILL, temperature_c=-15.0)
    request = asked(vehicle=bare, day=Day(None, weather), course=course, pace=steep)
    codes = {note.code for note in predict(request, 1000.0, CONFIG).notes}
    assert codes == {
        "handbook-only",
        "battery-unknown",
        "rider-unknown",
        "untagged-surface",
        "too-steep",
        "cold-pack",
    }


@pytest.mark.parametrize("unit", list(DistanceUnit))
def test_words(usual: Prediction, unit: DistanceUnit) -> None:
    course = straight(18_000.0, grade=0.005)
    prediction = predict(asked(course=course, to_the_end=True), 2000.0, CONFIG)
    for each in (usual, prediction):
        printed = view_of(each, CONFIG, unit)
        out = StringIO()
        print_out(printed, Console(file=out, width=100, highlight=False))
        text = out.getvalue()
        assert text.startswith("Tern: a full charge goes ")
        assert str(unit) in text
        assert "not a promise" in text
        assert "lithium" in text
        assert "screen" in text
        assert max(map(len, text.splitlines())) <= 100
        assert as_markdown(printed).startswith("**Tern: a full charge goes ")
    assert "there and back" in text
    assert "the chance that it is no less than the reserve of 10 %" in " ".join(text.split())


def test_document(usual: Prediction) -> None:
    content = json.loads(json.dumps(document(usual, CONFIG), allow_nan=False))
    assert content["schema"] == SCHEMA
    spread = content["range"]["full_charge_km"]
    assert spread["low90"] < spread["median"] < spread["high90"]
    assert len(content["along"]) == len(usual.along)
    assert {each["change"] for each in content["changes"]} == {
        "mass",
        "speed",
        "headwind",
        "surface",
    }
    assert content["asked"]["weather"]["temperature_c"] == 20.0


@pytest.mark.parametrize(
    ("length_m", "unit", "every"),
    [(20_000.0, "km", 2000.0), (8000.0, "km", 1000.0), (20_000.0, "mi", 1609.344 * 2.0)],
)
def test_rows_are_at_round_distances(length_m: float, unit: str, every: float) -> None:
    assert row_every_m(length_m, DistanceUnit(unit), 12) == pytest.approx(every)


def test_another_unit_of_a_spread() -> None:
    assert Spread(1.0, 0.5, 2.0).times(2.0) == Spread(2.0, 1.0, 4.0)


@pytest.mark.parametrize("course", ["true", "planned"])
def test_known_vehicle_under_other_conditions(course: str) -> None:
    """One simulated vehicle, three reported rides; the benchmark measures many."""
    score = score_vehicle(3, 3, "recharge", course)
    assert isinstance(score, Score)
    assert abs(score.consumption_error) < 0.15
    assert abs(score.range_error) < 0.15
    assert score.range_in


def test_a_reference_file_changes_only_what_it_says(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("[pace]\ntop_speed_m_s = 5.0\n[slower_on]\nsand = 0.4\n", encoding="utf-8")
    config = with_reference(CONFIG, path)
    assert config.pace.top_speed_m_s == 5.0
    assert config.pace.slower_on["sand"] == 0.4
    assert config.pace.slower_on["gravel"] == CONFIG.pace.slower_on["gravel"]
    assert config.reference == CONFIG.reference
