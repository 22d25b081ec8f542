"""What all charts of the page share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from math import isfinite
from typing import Any

import numpy as np
from markupsafe import escape

from wherewatt.arrays import FloatArray
from wherewatt.report.palette import HATCH_TOKEN, INK_TOKEN, Fill
from wherewatt.report.wording import plain

Trace = dict[str, Any]
Numbers = list[float | None]

FONT = 'Charter, "Bitstream Charter", Cambria, Georgia, serif'


@dataclass(frozen=True, slots=True)
class Key:
    """A line of a legend: what it looks like, and what it means in each unit.

    `shape` is "area", "line" or the name of a mark.
    """

    label: str
    shape: str = "area"
    fill: Fill | None = None
    colour: str = INK_TOKEN
    width: float = 2.0
    dash: str = ""
    label_mi: str = ""


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart as its page carries it.

    Parameters
    ----------
    traces, layout : as plotly takes them; colours may be tokens of the page's theme.
    height_px : its height, or 0 if `aspect` rules.
    aspect : width over height of its panel.
    quantities : quantity of each axis whose labels depend on the unit, by name of the axis.
    keys : its legend.
    """

    traces: list[Trace]
    layout: dict[str, Any]
    height_px: float = 0.0
    aspect: float = 0.0
    quantities: dict[str, str] = field(default_factory=dict)
    keys: tuple[Key, ...] = ()

    def carried(self) -> dict[str, Any]:
        """What goes to the script."""
        return {
            "data": self.traces,
            "layout": {**_COMMON, **self.layout},
            "height": self.height_px,
            "aspect": self.aspect,
            "quantities": self.quantities,
        }


CLEAR = "rgba(0,0,0,0)"

_COMMON: dict[str, Any] = {
    "paper_bgcolor": CLEAR,
    "plot_bgcolor": CLEAR,
    "font": {"family": FONT, "color": INK_TOKEN, "size": 13},
    "showlegend": False,
    "hovermode": "closest",
    "hoverlabel": {
        "bgcolor": "@paper",
        "bordercolor": INK_TOKEN,
        "font": {"color": INK_TOKEN, "family": FONT},
    },
    "bargap": 0,
}


def axis(**settings: Any) -> dict[str, Any]:
    """An axis in the page's look."""
    return {
        "showgrid": False,
        "zeroline": False,
        "fixedrange": True,
        "linecolor": INK_TOKEN,
        "linewidth": 1,
        "tickcolor": INK_TOKEN,
        "gridcolor": "@faint",
        "title": title_of(""),
        **settings,
    }


def title_of(words: str) -> dict[str, Any]:
    """Title of an axis."""
    return {"text": words, "standoff": 6, "font": {"size": 13}}


def numbers(values: FloatArray, decimals: int) -> Numbers:
    """Rounded numbers for JSON, None for what is not known."""
    rounded = np.round(values, decimals) + 0.0
    if np.isfinite(rounded).all():
        return rounded.tolist()
    return [value if isfinite(value) else None for value in rounded.tolist()]


def text(value: str) -> str:
    """A text from a file that the chart library must not take for markup or a formula."""
    return str(escape(plain(value))).replace("$", "&#36;")


def area(fill: Fill) -> dict[str, Any]:
    """Look of bars."""
    look: dict[str, Any] = {"color": fill.paint, "line": {"width": 0.5, "color": HATCH_TOKEN}}
    return {**look, "pattern": pattern(fill)} if fill.hatch else look


def pattern(fill: Fill) -> dict[str, Any]:
    """Hatch of an area."""
    return {
        "shape": fill.pattern,
        "bgcolor": fill.paint,
        "fgcolor": HATCH_TOKEN,
        "fgopacity": 0.6,
        "size": 12 / min(3, max(1, len(fill.hatch) - 1)),
        "solidity": 0.12,
    }


def strip(fill: Fill, stretches: Iterable[tuple[float, float, str]], yaxis: str) -> Trace:
    """Boxes along the distance: from, to [m] and the word inside.

    The script leaves out words for which there is no room.
    """
    start, end, words = (list(column) for column in zip(*stretches, strict=True))
    return {
        "type": "bar",
        "yaxis": yaxis,
        "x": numbers((np.array(start) + np.array(end)) / 2.0, 1),
        "width": numbers(np.array(end) - np.array(start), 1),
        "y": [1] * len(start),
        "marker": area(fill),
        "text": [text(word) for word in words],
        "textposition": "inside",
        "insidetextanchor": "middle",
        "textangle": 0,
        "constraintext": "none",
        "insidetextfont": {"color": INK_TOKEN, "size": 12},
        "hoverinfo": "skip",
    }


def stretches(labels: Sequence[str], edges: FloatArray) -> list[tuple[str, float, float]]:
    """Runs of equal labels of sections: label, start and end."""
    found = []
    for label, run in groupby(range(len(labels)), key=lambda index: labels[index]):
        indices = list(run)
        found.append((label, float(edges[indices[0]]), float(edges[indices[-1] + 1])))
    return found
