"""Units at the edges: SI inside, other units only where a person writes or reads them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

METRES_PER_MILE = 1609.344
METRES_PER_FOOT = 0.3048
KILOGRAMS_PER_POUND = 0.45359237
JOULES_PER_WATT_HOUR = 3600.0
STANDARD_GRAVITY_M_S2 = 9.80665
KELVIN_AT_0_C = 273.15


@dataclass(frozen=True, slots=True)
class Conversion:
    """Linear map ``value_in_base = value * factor + offset`` from one suffix to another."""

    base: str
    factor: float
    offset: float = 0.0


# What a user may write instead of the base suffix of a ride-sheet key.
SUFFIXES: dict[str, Conversion] = {
    "lb": Conversion("kg", KILOGRAMS_PER_POUND),
    "mph": Conversion("m_s", METRES_PER_MILE / 3600.0),
    "kmh": Conversion("m_s", 1.0 / 3.6),
    "f": Conversion("c", 5.0 / 9.0, -32.0 * 5.0 / 9.0),
}


class DistanceUnit(StrEnum):
    """Unit in which distances are shown to a person."""

    KM = "km"
    MI = "mi"

    @property
    def metres(self) -> float:
        """Metres in one unit."""
        return METRES_PER_MILE if self is DistanceUnit.MI else 1000.0

    @property
    def height_metres(self) -> float:
        """Metres in the height unit that goes with it (metre or foot)."""
        return METRES_PER_FOOT if self is DistanceUnit.MI else 1.0

    @property
    def height_name(self) -> str:
        """Name of the height unit that goes with it."""
        return "ft" if self is DistanceUnit.MI else "m"

    @property
    def speed_name(self) -> str:
        """Name of the speed unit that goes with it."""
        return "mph" if self is DistanceUnit.MI else "km/h"
