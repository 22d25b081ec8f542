"""The unknowns of a ride within a sentence: what they are called, and what to doubt with them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from wherewatt.allocate.parameters import ratio_name


@dataclass(frozen=True, slots=True)
class Phrase:
    """A parameter within a sentence.

    Parameters
    ----------
    noun : what it is called, with its article where it has one.
    unit : unit for people; empty where there is none.
    factor : from the parameter's own unit to that one.
    doubt : what may be wrong where it comes out odd, as a question.
    """

    noun: str
    unit: str = ""
    factor: float = 1.0
    doubt: str = "are the masses, the surfaces and the wind right?"

    def said(self, value: float, spread: float) -> str:
        """A value with its unit, to two significant digits of its spread."""
        return with_unit(number(self.factor * value, self.factor * spread), self.unit)

    def between(self, low: float, high: float) -> str:
        """An interval: "0.41 to 0.54 m²"."""
        spread = self.factor * (high - low) / 2.0
        ends = " to ".join(number(self.factor * end, spread) for end in (low, high))
        return with_unit(ends, self.unit)


_PHRASES = {
    "mass_kg": Phrase("the mass of rider and vehicle", "kg", doubt="are the masses right?"),
    "rolling_resistance": Phrase(
        "the rolling resistance on asphalt", doubt="are the masses and the surfaces right?"
    ),
    "drag_area_m2": Phrase("the drag area", "m²", doubt="is the mass or the wind right?"),
    "drivetrain_efficiency": Phrase("the drivetrain efficiency", "%", 100.0),
    "fixed_loss_w": Phrase("the fixed loss of the drivetrain", "W"),
    "winding_loss_w_n2": Phrase("the heat of the winding", "mW/N²", 1000.0),
    "auxiliary_w": Phrase("the auxiliary power", "W", doubt="did something else draw power?"),
    "unsteadiness_m_s2": Phrase("the unsteadiness of the demand", "m/s²"),
    "day_factor": Phrase("the day's factor", doubt="was the road wet, or a tyre soft?"),
    "wind_east_m_s": Phrase("the wind towards the east", "m/s"),
    "wind_north_m_s": Phrase("the wind towards the north", "m/s"),
    "regenerative_share": Phrase(
        "the share of braking work returned", "%", 100.0, "is regenerative_braking stated right?"
    ),
    "pedal_power_w": Phrase("the pedalling power", "W", doubt="was the rider's part another?"),
    "battery_usable_wh": Phrase(
        "the usable capacity", "Wh", doubt="are the battery's capacity and the masses right?"
    ),
    "charger_efficiency": Phrase(
        "the charger efficiency",
        "%",
        100.0,
        "was this ride charged back, no more and no less, and are the masses right?",
    ),
    "logger_gain": Phrase("the gain of the pack logger", doubt="is its scale right?"),
    "pack_resistance_ohm": Phrase("the pack's resistance", "Ω", doubt="are the voltages right?"),
    "cell_offset_v": Phrase(
        "the offset of the voltmeter", "V per cell", doubt="does it read right?"
    ),
    "cell_towards_nca": Phrase("the cells' chemistry towards NCA"),
    "cell_towards_flat": Phrase("the flatness of the cells' voltage"),
    "start_charge": Phrase("the energy left at the start", "%", 100.0),
    "display_bend": Phrase("the bend of the display", doubt="are the call-outs this ride's?"),
    "display_sag": Phrase(
        "the sag of the display", "points per kW", doubt="are the call-outs this ride's?"
    ),
    "display_delay_s": Phrase(
        "the delay of the display", "s", doubt="are the times of the call-outs right?"
    ),
}


@cache
def phrase_of(name: str) -> Phrase:
    """The phrase for a parameter; one without any is called by its own name."""
    if _is_ratio(name):
        surface = name.removeprefix(ratio_name("")).replace("_", " ")
        return Phrase(
            f"the rolling resistance of {surface} against smooth asphalt",
            doubt="are the surfaces tagged where they are?",
        )
    return _PHRASES.get(name, Phrase(name.replace("_", " ")))


def number(value: float, spread: float) -> str:
    """A number to two significant digits of its spread, with a true minus sign."""
    decimals = min(max(1 - math.floor(math.log10(spread)), 0), 5) if spread > 0.0 else 2
    return f"{round(value, decimals) + 0.0:.{decimals}f}".replace("-", "−")


def with_unit(text: str, unit: str) -> str:
    """A number with its unit, if it has one."""
    return f"{text} {unit}" if unit else text


def nouns_of(names: list[str]) -> list[str]:
    """What parameters are called; the surfaces together."""
    surfaces = [name.removeprefix(ratio_name("")) for name in names if _is_ratio(name)]
    nouns = [phrase_of(name).noun for name in names if not _is_ratio(name)]
    if len(surfaces) > 1:
        known = listed([surface.replace("_", " ") for surface in surfaces])
        return [*nouns, f"the surfaces ({known}) against smooth asphalt"]
    return [*nouns, *(phrase_of(ratio_name(surface)).noun for surface in surfaces)]


def _is_ratio(name: str) -> bool:
    return name.startswith(ratio_name(""))


def listed(nouns: list[str]) -> str:
    """Nouns as a list: "a, b and c"."""
    return " and ".join(part for part in (", ".join(nouns[:-1]), *nouns[-1:]) if part)


def capital(sentence: str) -> str:
    """The sentence with a capital at its beginning."""
    return sentence[:1].upper() + sentence[1:]
