"""Colours and hatches of the charts.

The colours are those of Okabe and Ito 2008 ("Color universal design", jfly.uni-koeln.de/color),
which people with any kind of colour vision can tell apart. No chart relies on them alone: every
area also has its own hatch, so that it reads in grey.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
BLUISH_GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
REDDISH_PURPLE = "#CC79A7"

PAPER = "#FFFFFF"
INK = "#1A1A1A"
FAINT = "#8C8C8C"
HATCH = "#5C5C5C"


@dataclass(frozen=True, slots=True)
class Fill:
    """How an area is filled: colour, hatch, and how strong the colour is on white paper."""

    colour: str
    hatch: str = ""
    strength: float = 1.0

    @property
    def shade(self) -> tuple[float, float, float]:
        """The colour as it looks on paper, opaque: red, green and blue from 0 to 1."""
        parts = (int(self.colour[start : start + 2], 16) / 255.0 for start in (1, 3, 5))
        red, green, blue = (1.0 - self.strength * (1.0 - part) for part in parts)
        return red, green, blue


TERRAIN_FILLS = {
    "climb": Fill(ORANGE, "///", 0.30),
    "descent": Fill(SKY_BLUE, "\\\\\\", 0.30),
    "flat": Fill(PAPER),
}

FLOW_FILL = Fill(BLACK, "xxx", 0.12)

CAUSE_FILLS = {
    "rolling": Fill(ORANGE),
    "air": Fill(SKY_BLUE, "//"),
    "wind": Fill(BLUE, "\\\\"),
    "height": Fill(BLUISH_GREEN, "++"),
    "speed": Fill(YELLOW, "xx"),
    "brakes": Fill(VERMILLION, "||"),
    "drivetrain": Fill(REDDISH_PURPLE, "--"),
    "auxiliary": Fill(BLACK),
    "rider": Fill(PAPER, "///"),
}

# Hatches of lines only: dots and circles make a vector chart many times larger.
_SURFACE_FILLS = {
    "asphalt": Fill(FAINT, "", 0.55),
    "concrete": Fill(SKY_BLUE, "||", 0.55),
    "worn_asphalt": Fill(FAINT, "////", 0.55),
    "paving": Fill(REDDISH_PURPLE, "++", 0.55),
    "cobbles": Fill(REDDISH_PURPLE, "xxxx", 0.55),
    "gravel": Fill(ORANGE, "\\\\\\\\", 0.55),
    "dirt": Fill(VERMILLION, "----", 0.55),
    "grass": Fill(BLUISH_GREEN, "|||||", 0.55),
    "sand": Fill(YELLOW, "xx", 0.55),
    "untagged": Fill(PAPER),
}

# For surfaces of a user's own configuration.
_SPARE_FILLS = tuple(
    Fill(colour, hatch, 0.55)
    for colour in (BLUE, YELLOW, BLUISH_GREEN, VERMILLION)
    for hatch in ("\\\\||", "//--", "++xx")
)


def surface_fills(surfaces: Iterable[str]) -> Mapping[str, Fill]:
    """A fill for each surface of a ride, in the order in which they first occur."""
    names = tuple(dict.fromkeys(surfaces))
    spare = [name for name in names if name not in _SURFACE_FILLS]
    return {
        name: _SURFACE_FILLS[name]
        if name in _SURFACE_FILLS
        else _SPARE_FILLS[spare.index(name) % len(_SPARE_FILLS)]
        for name in names
    }
