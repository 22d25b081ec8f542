"""Cells in series, from the label and from what was read."""

from __future__ import annotations

import numpy as np
import pytest

from wherewatt.allocate.series import Series, cells_in_series, plausible
from wherewatt.physics.battery import Chemistry


def series_of(
    volts: list[float],
    percent: list[float] | None = None,
    *,
    nominal_v: float | None = None,
    chemistry: Chemistry | None = None,
) -> Series:
    shown = np.full(len(volts), np.nan) if percent is None else np.array(percent)
    return cells_in_series(np.array(volts), shown, nominal_v, chemistry)


@pytest.mark.parametrize(
    ("nominal_v", "count"),
    # Labels and counts of packs of 3.6 to 3.7 V a cell: arithmetic.
    [(24, 7), (36, 10), (43.2, 12), (46.8, 13), (48, 13), (50.4, 14), (52, 14), (60, 16), (72, 20)],
)
def test_label(nominal_v: float, count: int) -> None:
    found = series_of([3.75 * count, 3.6 * count], nominal_v=nominal_v)
    assert found == Series(count, True, "")


@pytest.mark.parametrize(("nominal_v", "count"), [(12.8, 4), (25.6, 8), (48, 15), (51.2, 16)])
def test_label_of_iron_phosphate(nominal_v: float, count: int) -> None:
    found = series_of([3.3 * count], nominal_v=nominal_v, chemistry=Chemistry.LFP)
    assert found == Series(count, True, "")


def test_a_full_pack_tells_thirteen_from_fourteen() -> None:
    """54.6 V full is 13 cells, 58.8 V is 14: 4.2 V each, arithmetic."""
    thirteen = series_of([54.4, 53.0], [100, 93], nominal_v=52)
    assert (thirteen.count, thirteen.certain) == (13, True)
    assert thirteen.told == "13 cells in series fit them, not the 14 of 52 V"
    assert series_of([58.2, 57.1, 56.0], nominal_v=48).count == 14
    assert series_of([58.6, 57.0], [100, 94], nominal_v=52) == Series(14, True, "")


def test_one_slip_does_not_change_the_count() -> None:
    volts = [54.0 - number for number in range(10)]
    assert series_of([58.0, *volts[1:]], nominal_v=48).count == 13
    assert series_of([*volts, 540.0], [95.0 - 5.0 * n for n in range(11)], nominal_v=48).count == 13


@pytest.mark.parametrize(
    ("full_v", "count"), [(42.0, 10), (54.6, 13), (58.8, 14), (67.2, 16), (84.0, 20)]
)
def test_without_a_label_the_highest_tells(full_v: float, count: int) -> None:
    found = series_of([full_v - 0.2, 0.93 * full_v])
    assert (found.count, found.certain) == (count, True)
    assert "full pack" in found.told


def test_without_a_label_percent_tells() -> None:
    """48 V at half charge: 13 cells of 3.7 V."""
    found = series_of([48.2, 47.0, 45.6], [52, 41, 29])
    assert (found.count, found.certain) == (13, True)


def test_else_only_changes_count() -> None:
    found = series_of([50.2, 49.0])
    assert not found.certain
    assert "battery_nominal_v" in found.told


def test_what_a_cell_can_have() -> None:
    volts = np.array([19.9, 20.1, 43.9, 44.1])
    assert plausible(volts, 10).tolist() == [False, True, True, False]
