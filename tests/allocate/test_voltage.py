"""Call-outs of voltage: placed, predicted, and what they tell."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.allocate.builders import CONFIG, RIDE_OF_AN_HOUR, SHEET, make_evidence, make_voltage
from wherewatt.allocate.callouts import Load
from wherewatt.allocate.estimate import Estimate, estimate_ride
from wherewatt.allocate.ledger import build_ledger
from wherewatt.allocate.voltage import (
    VoltagePrediction,
    no_voltage,
    predict_voltage,
    shown_voltage,
    voltage_parameters,
    voltage_sd,
)
from wherewatt.arrays import FloatArray
from wherewatt.errors import SideFileError
from wherewatt.ingest.place import parse_place
from wherewatt.ingest.readings import CallOut, CallOutState
from wherewatt.ingest.sheet import RideSheet, VehicleSheet, WeatherSheet
from wherewatt.motion.locate import Locator
from wherewatt.physics.battery import BLEND, LFP, NMC811, Cell, Chemistry, open_circuit

RIDE = RIDE_OF_AN_HOUR
AT_S = np.arange(0.0, 3601.0, 300.0)
CAPACITY_WH = 400.0
PLAIN = {
    "start_charge": 1.0,
    "battery_usable_wh": CAPACITY_WH,
    "pack_resistance_ohm": 0.1,
    "cell_offset_v": 0.0,
    "cell_towards_nca": 0.0,
    "cell_towards_flat": 0.0,
}
HANDBOOK = estimate_ride(make_evidence(RIDE))


def call_out(at: str, volts: float, percent: float = math.nan, line: int = 2) -> CallOut:
    return CallOut(parse_place(at), percent, volts, CallOutState.RIDING, "", line)


def load(used_wh: float, now_w: float, lately_w: float = 0.0, ohm: float = 0.1) -> Load:
    used = np.array([used_wh / CAPACITY_WH])
    return Load(np.array([now_w]), np.array([lately_w]), used, 1.0 - used, CAPACITY_WH, ohm)


def predict(
    used_wh: float,
    now_w: float = 0.0,
    lately_w: float = 0.0,
    *,
    resting: bool = False,
    cell: Cell = NMC811,
    **changed: float,
) -> VoltagePrediction:
    shown = make_voltage(RIDE, np.array([600.0]), np.array([40.0]), resting=resting)
    used = np.array([used_wh])
    return predict_voltage(
        shown,
        used,
        load(used_wh, now_w, lately_w),
        {**PLAIN, **changed},
        cell=cell,
        settings=CONFIG.estimate,
    )


def volts(*arguments: float, **changed: float) -> float:
    return float(predict(*arguments, **changed).volts[0])  # type: ignore[arg-type]


def test_voltage_of_the_charge() -> None:
    """46.56 % of the energy is half of the charge: 3.7509 V a cell (Chen et al. 2020)."""
    assert volts(0.0) == pytest.approx(42.0, abs=1e-9)
    assert volts(CAPACITY_WH * (1.0 - 0.4656)) == pytest.approx(37.509, abs=0.03)


def test_sag_under_load() -> None:
    """400 W at 40 V are 10 A: 1 V over 0.1 Ω, 0.7 of it at once."""
    still = volts(100.0)
    assert still - volts(100.0, 400.0, 400.0) == pytest.approx(1.0)
    assert still - volts(100.0, 400.0, 0.0) == pytest.approx(0.7)


def test_sag_recovers_at_rest() -> None:
    """Only the slow part is left right after a stop, and nothing a minute later."""
    still = volts(100.0)
    assert still - volts(100.0, 400.0, 400.0, resting=True) == pytest.approx(0.3)
    assert volts(100.0, 0.0, 0.0, resting=True) == still


def test_other_cells() -> None:
    half = CAPACITY_WH * 0.5
    nca = volts(half, cell_towards_nca=1.0)
    assert volts(half) - nca == pytest.approx(0.66, abs=0.05)  # Kim et al. (2011): 66 mV a cell
    assert volts(half, cell_towards_flat=1.0) == pytest.approx(volts(half), abs=0.3)
    assert volts(half, cell=LFP) == pytest.approx(32.66, abs=0.05)  # Prada et al. (2013)
    assert volts(half, cell_offset_v=0.01) - volts(half) == pytest.approx(0.1)


def test_derivatives() -> None:
    """By the energy used and by every parameter, against differences."""
    rng = np.random.default_rng(5)
    at = np.array([300.0, 1200.0, 2400.0])
    shown = make_voltage(RIDE, at, np.array([40.0, 38.0, 35.0]), resting=False)
    used = np.array([30.0, 150.0, 290.0])
    power = rng.uniform(50.0, 600.0, (2, 3))
    held = Load(power[0], power[1], used / 400.0, 1.0 - used / 400.0, 400.0, 0.1)
    values = {**PLAIN, "start_charge": 0.93, "cell_towards_nca": 0.3, "cell_towards_flat": 0.4}

    def volts_at(used_wh: FloatArray, changed: dict[str, float]) -> FloatArray:
        return predict_voltage(
            shown, used_wh, held, changed, cell=BLEND, settings=CONFIG.estimate
        ).volts

    prediction = predict_voltage(shown, used, held, values, cell=BLEND, settings=CONFIG.estimate)
    assert set(prediction.slopes) == set(values)
    difference = volts_at(used + 0.5, values) - volts_at(used - 0.5, values)
    assert prediction.per_used == pytest.approx(difference, rel=1e-3)
    for name, value in values.items():
        step = 1e-3 * max(abs(value), 0.05)
        up, down = (volts_at(used, {**values, name: value + sign * step}) for sign in (1.0, -1.0))
        expected = (up - down) / (2.0 * step)
        scale = float(np.max(np.abs(expected)))
        assert prediction.slopes[name] == pytest.approx(expected, abs=1e-3 * scale), name


def test_near_empty_and_under_load_a_voltage_says_less() -> None:
    shown = make_voltage(RIDE, np.array([600.0]), np.array([40.0]), resting=False)

    def sd(used_wh: float, now_w: float) -> float:
        held = load(used_wh, now_w)
        return float(voltage_sd(shown, held, cell=BLEND, settings=CONFIG.estimate)[0])

    assert sd(392.0, 0.0) > 2.0 * sd(200.0, 0.0)
    assert sd(200.0, 500.0) > 2.0 * sd(200.0, 0.0)


def test_nobody_read_a_voltage() -> None:
    rows = [call_out("0 km", math.nan, 90.0)]
    assert len(shown_voltage(rows, Locator(RIDE), RideSheet(), "ride.readings.csv")) == 0
    nothing = voltage_parameters(
        no_voltage(), RideSheet(), priors=CONFIG.priors, assumed=CONFIG.assumed
    )
    assert nothing == ()


def shown_of(*rows: CallOut, nominal_v: float | None = 36.0):  # type: ignore[no-untyped-def]
    sheet = RideSheet(vehicle=VehicleSheet(battery_nominal_v=nominal_v))
    return shown_voltage(rows, Locator(RIDE), sheet, "ride.readings.csv")


def test_order_of_the_file_does_not_matter() -> None:
    rows = [call_out("0 km", 41.0), call_out("0:10:00", 39.5), call_out("8 km", 38.0)]
    forward, backward = shown_of(*rows), shown_of(*rows[::-1])
    assert forward.volts.tolist() == backward.volts.tolist() == [41.0, 39.5, 38.0]
    assert forward.time_s.tolist() == backward.time_s.tolist()
    assert (forward.cells_in_series, forward.level_known, forward.notes) == (10, True, ())


def test_an_absurd_voltage_is_set_aside() -> None:
    rows = [call_out("0 km", 41.0), call_out("3 km", 395.0, line=3), call_out("8 km", 38.0, line=4)]
    shown = shown_of(*rows)
    assert shown.volts.tolist() == [41.0, 38.0]
    (note,) = shown.notes
    assert note.code == "voltage-set-aside"
    assert "395 V in line 3" in note.message
    assert "20.0 to 44.0 V" in note.message


def test_only_absurd_voltages_are_an_error() -> None:
    rows = [call_out("0 km", 4.1), call_out("3 km", 3.9, line=3)]
    with pytest.raises(SideFileError) as caught:
        shown_of(*rows)
    assert [problem.line for problem in caught.value.problems] == [
        f"ride.readings.csv: line {line}: found voltage_v {value}, expected 20.0 to 44.0 V of 10 "
        "cells in series; mend it, or battery_nominal_v in the ride sheet"
        for line, value in ((2, "4.1"), (3, "3.9"))
    ]


def test_what_is_guessed_is_told() -> None:
    full = shown_of(call_out("0 km", 54.3), call_out("8 km", 50.0), nominal_v=None)
    assert (full.cells_in_series, full.level_known) == (13, True)
    assert [note.code for note in full.notes] == ["cells-in-series"]
    relative = shown_of(call_out("0 km", 50.3), call_out("8 km", 48.0), nominal_v=None)
    assert not relative.level_known
    assert "only changes count" in relative.notes[0].message


def test_resistance_of_the_pack() -> None:
    """Ten in series of four strings of 30 mΩ, 2.5 Ah cells: 75 mΩ."""
    sheet = RideSheet(
        vehicle=VehicleSheet(battery_nominal_wh=365.0), weather=WeatherSheet(temperature_c=20.0)
    )
    shown = make_voltage(RIDE, np.zeros(1), np.array([41.0]))

    def resistance(celsius: float) -> tuple[float, float]:
        weather = RideSheet(vehicle=sheet.vehicle, weather=WeatherSheet(temperature_c=celsius))
        prior = voltage_parameters(shown, weather, priors=CONFIG.priors, assumed=CONFIG.assumed)[
            0
        ].prior
        return prior.center, prior.spread

    center, spread = resistance(20.0)
    assert abs(np.log(center / 0.075)) < 2.0 * spread
    assert resistance(0.0)[0] == pytest.approx(2.0**0.8 * center)  # doubles in 25 K
    assert resistance(0.0)[1] > spread


@pytest.mark.parametrize("chemistry", [None, *Chemistry])
def test_what_is_unknown_of_the_curve(chemistry: Chemistry | None) -> None:
    sheet = RideSheet(vehicle=VehicleSheet(battery_chemistry=chemistry))
    shown = make_voltage(RIDE, np.zeros(1), np.array([41.0]))
    items = voltage_parameters(shown, sheet, priors=CONFIG.priors, assumed=CONFIG.assumed)
    spreads = {item.name: item.prior.spread for item in items}
    assert ("cell_towards_nca" in spreads) == (chemistry is not Chemistry.LFP)
    if chemistry in (Chemistry.NMC, Chemistry.NCA):
        assert spreads["cell_towards_nca"] < CONFIG.priors["cell_towards_nca"].spread


def read_along(change: float, *, cell: Cell = BLEND) -> FloatArray:
    """Voltages read at rest on the handbook's ride, with so much of its energy used."""
    wh = np.concatenate([[0.0], np.cumsum(build_ledger(HANDBOOK).leg_wh.sum(axis=0))])
    used = change * np.interp(AT_S, RIDE.time_s, wh)
    left = 0.95 - used / CAPACITY_WH
    charge = np.linspace(0.0, 1.0, 2001)
    steps = open_circuit(charge, cell)[0]
    energy = np.concatenate([[0.0], np.cumsum((steps[1:] + steps[:-1]) / 2.0)])
    return np.round(10.0 * np.interp(left, energy / energy[-1], steps), 1)


def with_voltage(values: FloatArray, *, level_known: bool = True) -> Estimate:
    shown = make_voltage(RIDE, AT_S, values, level_known=level_known)
    return estimate_ride(make_evidence(RIDE, voltage=shown, sheet=SHEET))


@pytest.mark.parametrize("change", [0.8, 1.0, 1.25])
@pytest.mark.parametrize("level_known", [True, False])
def test_voltages_alone_tell_the_total(change: float, level_known: bool) -> None:
    before = build_ledger(HANDBOOK).total
    found = with_voltage(read_along(change), level_known=level_known)
    total = build_ledger(found).total
    assert found.solution.converged
    assert total.mean == pytest.approx(change * before.mean, abs=1.5 * total.sd)
    assert total.sd < 0.75 * before.sd * max(change, 1.0)


def test_the_charge_at_the_start_is_found() -> None:
    found = with_voltage(read_along(1.0))
    sd = found.value_sds["start_charge"]
    assert found.values["start_charge"] == pytest.approx(0.95, abs=2.0 * sd)
    assert sd < 0.06


@pytest.mark.parametrize("wild", [-4.0, 4.5])
def test_one_misread_voltage_hardly_matters(wild: float) -> None:
    """38.1 read as 34.1: within what ten cells can have."""
    values = read_along(1.0)
    spoilt = values.copy()
    spoilt[5] = min(spoilt[5] + wild, 43.9)
    good, bad = (build_ledger(with_voltage(each)) for each in (values, spoilt))
    moved = bad.section_wh.sum(axis=0) - good.section_wh.sum(axis=0)
    sd = np.sqrt(np.diag(good.section_covariance))
    assert np.max(np.abs(moved) / sd) < 0.35
