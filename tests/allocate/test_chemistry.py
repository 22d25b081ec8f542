"""The chemistry of the cells: how it is stated, and what it does to a display."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.allocate.builders import make_shown
from tests.motion.builders import plain_ride
from wherewatt.allocate.callouts import Load, predict_display
from wherewatt.errors import SideFileError
from wherewatt.ingest.sheet import RideSheet, read_sheet
from wherewatt.physics.battery import (
    BLEND,
    LFP,
    NCA,
    NMC811,
    Cell,
    Chemistry,
    cell_of,
    energy_fraction,
)

RIDE = plain_ride(stops=())


def sheet_of(folder: Path, text: str) -> RideSheet:
    path = folder / "ride.toml"
    path.write_text(f"[vehicle]\nbattery_chemistry = {text}\n", encoding="utf-8")
    return read_sheet(path, {})


@pytest.mark.parametrize(("text", "stated"), [('"lfp"', "lfp"), ('" NMC "', "nmc")])
def test_stated(tmp_path: Path, text: str, stated: str) -> None:
    assert sheet_of(tmp_path, text).vehicle.battery_chemistry is Chemistry(stated)


@pytest.mark.parametrize(
    ("text", "found"), [('"lead"', "'lead'"), ("3", "3"), ("true", "true"), ('""', "''")]
)
def test_anything_else_lists_the_choices(tmp_path: Path, text: str, found: str) -> None:
    with pytest.raises(SideFileError) as caught:
        sheet_of(tmp_path, text)
    assert str(caught.value) == (
        f"ride.toml: [vehicle] battery_chemistry: found {found}, "
        'expected one of "nmc", "nca", "lfp"'
    )


def test_cells() -> None:
    assert [cell_of(chemistry) for chemistry in Chemistry] == [NMC811, NCA, LFP]
    assert cell_of(None) is BLEND


@pytest.mark.parametrize("cell", [NMC811, NCA, LFP, BLEND])
def test_a_display_that_counts_charge(cell: Cell) -> None:
    """It shows the charge whose energy is left: the integral of the cell's own voltage."""
    charge = np.array([0.9, 0.6, 0.3])
    left = np.asarray(energy_fraction(charge, cell))
    used = 400.0 * (1.0 - left)
    shown = make_shown(RIDE, np.array([100.0, 500.0, 900.0]), 100.0 * charge)
    idle = Load(np.zeros(3), np.zeros(3), used / 400.0, left, 400.0)
    values = {
        "start_charge": 1.0,
        "battery_usable_wh": 400.0,
        "display_bend": 1.0,
        "display_sag": 0.0,
        "display_delay_s": 0.0,
    }
    predicted = predict_display(shown, used, idle, values, cell).percent
    assert predicted == pytest.approx(100.0 * charge, abs=0.2)
