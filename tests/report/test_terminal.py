"""The report in a terminal."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from wherewatt.allocate.ledger import Measure
from wherewatt.report.result import RideResult
from wherewatt.report.terminal import print_report
from wherewatt.report.wording import CAUTION_LINE, HANDBOOK_WARNING, NO_RANGE
from wherewatt.units import DistanceUnit


def printed(result: RideResult, unit: DistanceUnit = DistanceUnit.KM, width: int = 100) -> str:
    stream = io.StringIO()
    print_report(result, unit, Console(file=stream, width=width))
    return stream.getvalue()


@pytest.mark.parametrize("width", [80, 100, 160])
def test_fits_and_loses_no_number(simulated_result: RideResult, width: int) -> None:
    text = printed(simulated_result, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
    assert f"{simulated_result.ledger.total.mean:.1f}" in text


def test_no_colour_codes_without_a_terminal(simulated_result: RideResult) -> None:
    assert "\x1b" not in printed(simulated_result)


def test_a_row_for_every_section(simulated_result: RideResult) -> None:
    numbers = [line.split()[0] for line in printed(simulated_result).splitlines() if line.strip()]
    for section in range(1, len(simulated_result.sections) + 1):
        assert str(section) in numbers


def test_miles(simulated_result: RideResult) -> None:
    text = printed(simulated_result, DistanceUnit.MI)
    assert "Wh/mi" in text
    assert "km" not in text


def test_text_from_files_stays_text(hostile_result: RideResult) -> None:
    text = printed(hostile_result)
    assert "\x1b" not in text
    assert "<img src=x onerror=alert(1)>" in text
    assert "[bold]$x^2$" in text


def test_handbook_estimate_is_named(handbook_result: RideResult) -> None:
    text = " ".join(printed(handbook_result).split())
    assert HANDBOOK_WARNING in text
    assert text.index(HANDBOOK_WARNING) < text.index("Energy from the battery")


def test_no_finite_range(simulated_result: RideResult) -> None:
    ledger = replace(simulated_result.ledger, full_charge_km=Measure(np.inf, np.inf))
    assert NO_RANGE in printed(replace(simulated_result, ledger=ledger))


def test_caution_is_one_line(simulated_result: RideResult) -> None:
    assert CAUTION_LINE in printed(simulated_result).splitlines()
