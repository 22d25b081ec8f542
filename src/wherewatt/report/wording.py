"""Words and numbers as people read them: the same on the page, in charts and in the terminal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.ledger import Z90, Measure
from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import FloatArray

HANDBOOK_ONLY = "handbook-only"  # code of the note on a ride on which nothing was measured

HANDBOOK_WARNING = (
    "Nothing was measured on this ride: there are no call-outs and no recharge energy. "
    "Every number below is a handbook estimate."
)

NO_RANGE = "no finite range on this ride"

CAUTIONS = (
    "These are estimates, not promises: plan with a reserve.",
    "Do not run a lithium pack flat, nor charge it unattended after a knock.",
    "Local road law, the maker's manual and qualified service come first.",
    "Do not read a screen while riding.",
)

INTERVAL_LINE = (
    "± is half of the 90 % interval, which is meant to hold the truth nine times in ten."
)

CAUTION_LINE = (
    "Estimates, not promises: keep a reserve, never run the pack flat; law and manual come first."
)


@dataclass(frozen=True, slots=True)
class CauseWords:
    """A cause for people: its name, and what goes there."""

    name: str
    meaning: str


CAUSE_WORDS = {
    "rolling": CauseWords("Rolling resistance", "tyres and surface"),
    "air": CauseWords("Still air", "air resistance as it would be without wind"),
    "wind": CauseWords("Wind", "what the wind added to that, or took off"),
    "height": CauseWords("Height", "gained uphill less given back downhill"),
    "speed": CauseWords("Speed", "put into motion less given back; near zero in the end"),
    "brakes": CauseWords("Brakes", "turned to heat, less what regenerative braking returned"),
    "drivetrain": CauseWords("Drivetrain", "lost between battery and wheel"),
    "auxiliary": CauseWords("Auxiliary", "display, lights, controller"),
    "rider": CauseWords("Rider", "spared by pedalling, hence negative"),
}


@dataclass(frozen=True, slots=True)
class ParameterWords:
    """A parameter for people: name, unit, and the factor from its own unit to that one."""

    name: str
    unit: str
    factor: float = 1.0


PARAMETER_WORDS = {
    "mass_kg": ParameterWords("Mass of rider and vehicle", "kg"),
    "rolling_resistance": ParameterWords("Rolling resistance on asphalt", ""),
    "drag_area_m2": ParameterWords("Drag area", "m²"),
    "drivetrain_efficiency": ParameterWords("Drivetrain efficiency", "%", 100.0),
    "fixed_loss_w": ParameterWords("Fixed loss of the drivetrain", "W"),
    "winding_loss_w_n2": ParameterWords("Heat of the winding, over force squared", "mW/N²", 1000.0),
    "auxiliary_w": ParameterWords("Auxiliary power", "W"),
    "unsteadiness_m_s2": ParameterWords("Unsteadiness of the demand, over mass", "m/s²"),
    "day_factor": ParameterWords("This day, over what the rest explains", "×"),
    "wind_east_m_s": ParameterWords("Wind at rider height, blowing east", "m/s"),
    "wind_north_m_s": ParameterWords("Wind at rider height, blowing north", "m/s"),
    "regenerative_share": ParameterWords("Braking work returned", "%", 100.0),
    "pedal_power_w": ParameterWords("Pedalling power", "W"),
    "battery_usable_wh": ParameterWords("Usable capacity", "Wh"),
    "charger_efficiency": ParameterWords("Charger efficiency", "%", 100.0),
    "logger_gain": ParameterWords("Gain of the pack logger", ""),
    "start_charge": ParameterWords("Energy left at the start", "%", 100.0),
    "display_bend": ParameterWords("Display counts energy (0) or charge (1)", ""),
    "display_sag": ParameterWords("Sag of the display under load", "points/kW"),
    "display_delay_s": ParameterWords("Delay of the display", "s"),
    "pack_resistance_ohm": ParameterWords("Resistance of the pack", "mΩ", 1000.0),
    "cell_offset_v": ParameterWords("Voltage of a cell, off its curve", "mV", 1000.0),
    "cell_towards_nca": ParameterWords("Cell curve from NMC (−0.5) to NCA (0.5)", ""),
    "cell_towards_flat": ParameterWords("Cell curve from NMC811 (0) to flatter NMC (1)", ""),
}


def parameter_words(name: str, unit: str) -> ParameterWords:
    """Words for a parameter; one without any keeps its own name and unit."""
    if name.startswith(ratio_name("")):
        surface = words(name.removeprefix(ratio_name("")))
        return ParameterWords(f"Rolling resistance on {surface}, over asphalt", "×")
    return PARAMETER_WORDS.get(name, ParameterWords(words(name), unit))


def plain(text: str) -> str:
    """A text from a file as it can be printed.

    A control character in a file name must not reach a terminal.
    """
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


def words(label: str) -> str:
    """A label such as ``worn_asphalt`` as words."""
    return plain(label).replace("_", " ")


def surface_words(surface: str, structure: str) -> str:
    """Surface and, where there is one, structure: ``asphalt, bridge``."""
    return ", ".join(words(part) for part in (surface, structure) if part)


def number(value: float, decimals: int) -> str:
    """A number with a true minus sign, and without a negative zero."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}".replace("-", "−")


def decimals_for(spread: float) -> int:
    """Decimals that show two significant digits of a standard deviation."""
    return int(np.clip(1.0 - np.floor(np.log10(spread)), 0, 5)) if spread > 0.0 else 2


def energy_decimals(wh: float) -> int:
    """Decimals of an energy [Wh]: one below 100."""
    return 1 if abs(wh) < 100.0 else 0


def half_width(measure: Measure) -> float:
    """Half of the width of the 90 % interval."""
    return Z90 * measure.sd


def interval(measure: Measure, decimals: int, factor: float = 1.0, *, low: float = -np.inf) -> str:
    """The 90 % interval as ``318 to 368``, cut off below what is possible at all."""
    ends = (max(low, measure.low90), measure.high90)
    return " to ".join(number(end * factor, decimals) for end in ends)


def duration(seconds: float) -> str:
    """A duration as ``1 h 02 min`` or, below an hour, ``4 min 05 s``."""
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s"
    hours, minutes = divmod(round(seconds / 60.0), 60)
    return f"{hours} h {minutes:02d} min"


def rounded_to_sum(values: FloatArray, decimals: int) -> FloatArray:
    """Values rounded so that they add up to their rounded sum; each is off by less than a digit.

    All are rounded down, then those that lost most get a last digit more (the method of largest
    remainders).
    """
    scaled = values * 10.0**decimals
    down = np.floor(scaled)
    missing = round(float(scaled.sum())) - round(float(down.sum()))
    down[np.argsort(down - scaled, kind="stable")[:missing]] += 1.0
    return np.asarray(down / 10.0**decimals)
