"""Whole rides on which only the voltage, or both, were called out."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.support.simulator import CallOut, SimulatedRide, simulate
from tests.support.simulator.battery import discharge
from tests.support.simulator.drive import DT_S
from wherewatt.config import load_config
from wherewatt.errors import SideFileError
from wherewatt.pipeline import analyse
from wherewatt.report import tables, view
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder
from wherewatt.units import DistanceUnit

RIDES = (("commuter", 2), ("mountain", 2))


def with_volts(ride: SimulatedRide) -> SimulatedRide:
    """The same ride with the pack's voltage read at every call-out."""
    truth = ride.truth
    volts = discharge(truth.battery, truth.battery_w, DT_S).voltage_v

    def read(call_out: CallOut) -> CallOut:
        at = int(np.argmin(np.abs(truth.time_s - call_out.time_s)))
        return replace(call_out, voltage_v=round(float(volts[at]), 1))

    return replace(ride, call_outs=tuple(read(call_out) for call_out in ride.call_outs))


def analysed(
    ride: SimulatedRide, folder: Path, *, percent: bool, nominal_v: bool = True
) -> RideResult:
    track = ride.write(folder, side_files=("readings", "sheet"))
    readings = folder / f"{track.stem}.readings.csv"
    if not percent:
        rows = [line.split(",") for line in readings.read_text().splitlines()]
        blank = [rows[0], *([row[0], "", *row[2:]] for row in rows[1:])]
        readings.write_text("\n".join(",".join(row) for row in blank) + "\n")
    if not nominal_v:
        sheet = folder / f"{track.stem}.toml"
        lines = sheet.read_text().splitlines()
        sheet.write_text("\n".join(line for line in lines if "nominal_v" not in line))
    return analyse(track, TileFolder((folder,)), load_config())


def codes(result: RideResult) -> set[str]:
    return {note.code for note in result.notes}


@pytest.mark.parametrize("ride", RIDES)
def test_voltage_alone(ride: tuple[str, int], tmp_path: Path) -> None:
    sim = with_volts(simulate(*ride))
    result = analysed(sim, tmp_path, percent=False)
    voltage = result.estimate.evidence.voltage
    assert len(voltage) == len(sim.call_outs)
    assert voltage.cells_in_series == sim.truth.battery.cells_in_series
    assert not {"handbook-only", "cells-in-series", "not-converged"} & codes(result)
    total = result.ledger.total
    assert total.low90 < sim.truth.total_wh < total.high90
    values, sds = result.estimate.values, result.estimate.value_sds
    off = values["start_charge"] - sim.truth.start_soc
    assert abs(off) < 2.5 * sds["start_charge"]
    ohm = sim.truth.battery.resistance_ohm + sim.truth.battery.polarisation_ohm
    assert abs(values["pack_resistance_ohm"] - ohm) < 2.5 * sds["pack_resistance_ohm"]


def test_a_misread_voltage_is_named(tmp_path: Path) -> None:
    """4 V too low, as a slip of the pen makes it; the page has a row of it."""
    sim = with_volts(simulate(*RIDES[1]))
    sound = analysed(sim, tmp_path / "sound", percent=False)
    wrong = len(sim.call_outs) // 2
    slips = list(sim.call_outs)
    slips[wrong] = replace(slips[wrong], voltage_v=(slips[wrong].voltage_v or 0.0) - 4.0)
    result = analysed(replace(sim, call_outs=tuple(slips)), tmp_path, percent=False)
    told = tables.verdict(result)
    at = [number for number, of in enumerate(told.voltages) if of.set_aside]
    assert at == [wrong]
    assert told.voltages[wrong].residual_v == pytest.approx(-4.0, abs=0.5)
    assert any("below what was expected of the pack: set aside" in said for said in told.sentences)
    assert not any(of.set_aside for of in tables.verdict(sound).voltages)
    rows = view.voltage_rows(result, DistanceUnit.KM)
    assert rows[wrong].shown == f"{slips[wrong].voltage_v:.1f}"
    assert view.headline(result, DistanceUnit.KM)[-1].name == "Energy left at the end"


def test_without_a_label_the_count_is_told(tmp_path: Path) -> None:
    sim = with_volts(simulate(*RIDES[0]))
    result = analysed(sim, tmp_path, percent=True, nominal_v=False)
    assert result.estimate.evidence.voltage.cells_in_series == sim.truth.battery.cells_in_series
    assert "cells-in-series" in codes(result)


def test_both_say_more_than_percent(tmp_path: Path) -> None:
    sim = simulate(*RIDES[1])
    alone = replace(
        sim, call_outs=tuple(replace(each, voltage_v=math.nan) for each in sim.call_outs)
    )
    both = analysed(with_volts(sim), tmp_path / "both", percent=True).ledger.total
    percent = analysed(alone, tmp_path / "percent", percent=True).ledger.total
    assert both.sd < percent.sd


def test_errors_of_voltages_come_with_the_others(tmp_path: Path) -> None:
    sim = simulate(*RIDES[0])
    odd = tuple(replace(call_out, voltage_v=4.1) for call_out in sim.call_outs)
    track = replace(sim, call_outs=odd).write(tmp_path, side_files=("readings", "sheet"))
    tags = tmp_path / f"{track.stem}.surface.csv"
    tags.write_text("from,to,surface\n0 km,900 km,asphalt\n")
    with pytest.raises(SideFileError) as caught:
        analyse(track, TileFolder((tmp_path,)), load_config())
    found = [problem.found for problem in caught.value.problems]
    assert found.count("voltage_v 4.1") == len(odd)
    assert len(found) == len(odd) + 1
