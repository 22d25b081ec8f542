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

# On the page these follow its theme, light or dark; its script replaces them.
INK_TOKEN = "@ink"
BLUE_TOKEN = "@blue"  # blue on light, sky blue on dark paper
PAPER_TOKEN = "@paper"
HATCH_TOKEN = "@hatch"
_TOKENS = {BLACK: INK_TOKEN, PAPER: PAPER_TOKEN}


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

    @property
    def paint(self) -> str:
        """The colour for the page: it lets the paper shine through, or is a token of the theme."""
        if self.colour in _TOKENS:
            return _TOKENS[self.colour]
        parts = ",".join(str(int(self.colour[start : start + 2], 16)) for start in (1, 3, 5))
        return f"rgba({parts},{self.strength:g})"

    @property
    def pattern(self) -> str:
        """The hatch as the page's chart library names it: one sign; two become dots."""
        signs = set(self.hatch)
        return next(iter(signs)) if len(signs) == 1 else "." if signs else ""


TERRAIN_FILLS = {
    "climb": Fill(ORANGE, "///", 0.30),
    "descent": Fill(SKY_BLUE, "\\\\\\", 0.30),
    "flat": Fill(PAPER),
}

FLOW_FILL = Fill(FAINT, "xxx", 0.25)

ZEBRA_FILLS = (Fill(FAINT, "", 0.16), Fill(FAINT, "", 0.34))  # neighbours told apart

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


@dataclass(frozen=True, slots=True)
class Line:
    """How a line is drawn: colour, and dashes as the page's chart library names them."""

    colour: str
    dash: str


_DASHES = ("solid", "dot", "dash", "longdash", "dashdot", "longdashdot")


def surface_lines(surfaces: Iterable[str]) -> Mapping[str, Line]:
    """A line for each surface of a ride, in the order in which they first occur."""
    return {
        name: Line(_TOKENS.get(fill.colour, fill.colour), _DASHES[at % len(_DASHES)])
        for at, (name, fill) in enumerate(surface_fills(surfaces).items())
    }


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
