"""Battery call-outs: what the display showed, and where ("2.2 mi, 94 %")."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from wherewatt.errors import nearest_name
from wherewatt.ingest.place import EXPECTED, Place
from wherewatt.ingest.sidefile import ProblemList, Row, number_of, place_of, quoted, read_table

REQUIRED = ("at", "battery_pct")
OPTIONAL = ("voltage_v", "state", "note")

_HIGHEST_V = 1000.0  # beyond any light vehicle; catches millivolts


class CallOutState(Enum):
    """What the vehicle did at the call-out: a display sags under load and recovers at rest."""

    RIDING = "riding"
    RESTING = "resting"
    UNKNOWN = ""


@dataclass(frozen=True, slots=True)
class CallOut:
    """One reading of the battery display.

    Parameters
    ----------
    at : where or when.
    battery_pct : state of charge as shown [%]; NaN if only the voltage was read.
    voltage_v : voltage as shown [V]; NaN if not read.
    state : riding, resting, or not said.
    note : the user's own words.
    line : line in the file, from 1.
    """

    at: Place
    battery_pct: float
    voltage_v: float
    state: CallOutState
    note: str
    line: int


def read_readings(path: Path) -> tuple[CallOut, ...]:
    """Read battery call-outs, in the order of the file.

    Percent may rise, repeat or jump: that is data, not an error.

    Raises
    ------
    SideFileError
        With one problem per thing to mend.
    """
    problems = ProblemList(path)
    rows = read_table(problems, required=REQUIRED, optional=OPTIONAL)
    call_outs = [_call_out(row, problems) for row in rows]
    problems.raise_any()
    return tuple(call_out for call_out in call_outs if call_out is not None)


def _call_out(row: Row, problems: ProblemList) -> CallOut | None:
    """Make the call-out of one row; None if something is wrong with it."""
    before = len(problems.problems)
    place = f"line {row.line}"
    at = None
    try:
        at = place_of(row.cells["at"])
    except ValueError:
        problems.add(place, quoted(row.cells["at"]), EXPECTED)
    battery_pct = _battery_pct(row, problems)
    voltage_v = _voltage_v(row, problems)
    if not row.cells["battery_pct"] and not row.cells.get("voltage_v"):
        problems.add(place, "neither battery_pct nor voltage_v", "at least one of them")
    state = _state(row, problems)
    if at is None or len(problems.problems) > before:
        return None
    return CallOut(at, battery_pct, voltage_v, state, row.cells.get("note", ""), row.line)


def _battery_pct(row: Row, problems: ProblemList) -> float:
    text = row.cells["battery_pct"]
    value = _number_or_nan(text, "%")
    if text and not 0.0 <= value <= 100.0:
        problems.add(f"line {row.line}", f"battery_pct {quoted(text)}", "a number from 0 to 100")
    return value


def _voltage_v(row: Row, problems: ProblemList) -> float:
    text = row.cells.get("voltage_v", "")
    value = _number_or_nan(text, "V")
    if text and not 0.0 < value <= _HIGHEST_V:
        expected = f"volts above 0 and up to {_HIGHEST_V:g}"
        problems.add(f"line {row.line}", f"voltage_v {quoted(text)}", expected)
    return value


def _number_or_nan(text: str, unit: str) -> float:
    if not text:
        return math.nan
    try:
        return number_of(text, unit)
    except ValueError:
        return math.nan


def _state(row: Row, problems: ProblemList) -> CallOutState:
    text = row.cells.get("state", "").casefold()
    try:
        return CallOutState(text)
    except ValueError:
        known = [state.value for state in CallOutState if state.value]
        problems.add(
            f"line {row.line}",
            f"state {quoted(text)}",
            "riding, resting or nothing",
            nearest_name(text, known),
        )
        return CallOutState.UNKNOWN
