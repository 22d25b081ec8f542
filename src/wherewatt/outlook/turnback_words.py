"""Words that turning back, the way home and the hill test share."""

from __future__ import annotations

import numpy as np

from wherewatt.outlook.draws import Spread
from wherewatt.report.wording import number
from wherewatt.units import DistanceUnit

CAUTION = (
    "A prediction is not a promise: in doubt turn earlier. Do not run a lithium pack flat. Do not "
    "read a screen while riding. Road law and the maker's manual come first."
)


def range_words(spread: Spread, decimals: int) -> str:
    """The 90 % interval of what cannot be below zero."""
    ends = (max(0.0, spread.low90), max(0.0, spread.high90))
    return " to ".join(number(end, decimals) for end in ends)


def far(metres: float, unit: DistanceUnit) -> str:
    """A distance to a tenth, rounded down: nobody is to turn later for a rounding."""
    return f"{number(np.floor(10.0 * metres / unit.metres + 1e-6) / 10.0, 1)} {unit}"


def speed_words(speed_m_s: float, unit: DistanceUnit) -> str:
    """A speed in whole units."""
    return f"{number(speed_m_s * 3600.0 / unit.metres, 0)} {unit.speed_name}"


def chance_words(chance: float) -> str:
    """A chance in whole percent, rounded down."""
    if chance > 0.995:
        return "above 99 %"
    return "below 1 %" if chance < 0.005 else f"{np.floor(100.0 * chance + 1e-6):.0f} %"
