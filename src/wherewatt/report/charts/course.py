"""The course over the shaded land, by consumption or by surface."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

import numpy as np

from wherewatt.arrays import BoolArray
from wherewatt.report.backdrop import Backdrop
from wherewatt.report.charts.curves import Curves
from wherewatt.report.charts.parts import Chart, Key, Numbers, Trace, axis, numbers
from wherewatt.report.palette import (
    BLUISH_GREEN,
    INK_TOKEN,
    ORANGE,
    PAPER_TOKEN,
    SKY_BLUE,
    VERMILLION,
    surface_lines,
)
from wherewatt.report.result import RideResult
from wherewatt.report.wording import number, words
from wherewatt.units import DistanceUnit

_CASING_PX = 9.0  # keeps the line off the shade
_CLOSED = 0.02  # of the width: nearer, two marks would lie on each other


@dataclass(frozen=True, slots=True)
class _Line:
    """A kind of section on the map: which, its colour, its second sign, and its meaning."""

    chosen: BoolArray
    colour: str
    width: float
    dash: str
    label: str
    label_mi: str


def course_chart(result: RideResult, curves: Curves) -> tuple[Chart, tuple[Key, ...]]:
    """Draw the course; gives the chart with its legend by consumption, and that by surface.

    Of its traces the first is the casing; then come the lines by consumption, those by surface, and
    the ends. `meta` says which, for the switch between them.
    """
    by_use, by_surface = _by_consumption(result), _by_surface(result)
    everything = np.ones(len(result.sections), dtype=np.bool_)
    casing = _trace(curves, everything, PAPER_TOKEN, _CASING_PX, "solid")
    traces = [
        {**casing, "meta": "always"},
        *({**_own(curves, line), "meta": "consumption"} for line in by_use),
        *({**_own(curves, line), "meta": "surface", "visible": False} for line in by_surface),
        _ends(curves),
    ]
    window = curves.window
    half_width, half_height = window.width_m / 2.0, window.height_m / 2.0
    bare = {"showticklabels": False, "ticks": "", "showline": False, "constrain": "domain"}
    layout = {
        "xaxis": axis(**bare, range=[-half_width, half_width]),
        "yaxis": axis(**bare, range=[-half_height, half_height]),
        "margin": {"l": 0, "r": 0, "t": 0, "b": 0},
        "plot_bgcolor": "@tint",
        "dragmode": False,
        "images": [_image(result.backdrop)] if result.backdrop is not None else [],
    }
    keys = _keys(by_use)
    return Chart(traces, layout, aspect=window.aspect, keys=keys), _keys(by_surface)


def _keys(lines: list[_Line]) -> tuple[Key, ...]:
    return tuple(
        Key(line.label, "line", colour=line.colour, width=line.width, dash=line.dash,
            label_mi=line.label_mi)
        for line in lines
    )  # fmt: skip


def _by_consumption(result: RideResult) -> list[_Line]:
    """Sections by Wh/km against that of the whole ride: the more, the wider."""
    sections = result.sections
    metres = sections.total(result.ride.leg_distance_m)
    energy = result.ledger.section_wh.sum(axis=0)
    use = np.divide(1000.0 * energy, metres, out=np.zeros_like(energy), where=metres > 0.0)
    mean = result.ledger.wh_per_km.mean
    if not mean > 0.0:
        mean = float(np.max(np.abs(use)))
    kinds = (
        (use < 0.0, BLUISH_GREEN, 4.0, "dot", "gave energy back", ()),
        ((use >= 0.0) & (use < mean), SKY_BLUE, 3.5, "solid", "up to the ride’s mean, {}", (1,)),
        ((use >= mean) & (use < 2.0 * mean), ORANGE, 5.0, "solid", "{} to {}", (1, 2)),
        (use >= 2.0 * mean, VERMILLION, 7.5, "solid", "over {}", (2,)),
    )
    return [
        _Line(
            chosen,
            colour,
            width,
            dash,
            *(_in_unit(form, mean, multiples, unit) for unit in DistanceUnit),
        )
        for chosen, colour, width, dash, form, multiples in kinds
        if chosen.any()
    ]


def _in_unit(form: str, mean: float, multiples: tuple[int, ...], unit: DistanceUnit) -> str:
    values = [number(times * mean * unit.metres / 1000.0, 1) for times in multiples]
    return form.format(*values) + (f" Wh/{unit}" if values else "")


def _by_surface(result: RideResult) -> list[_Line]:
    surface = np.array(result.sections.surface)
    lines = surface_lines(result.sections.surface)
    return [
        _Line(surface == name, line.colour, 5.0, line.dash, words(name), "")
        for name, line in lines.items()
    ]


def _own(curves: Curves, line: _Line) -> Trace:
    return _trace(curves, line.chosen, line.colour, line.width, line.dash)


def _trace(curves: Curves, chosen: BoolArray, colour: str, width: float, dash: str) -> Trace:
    """The way of chosen sections; None between those that do not touch."""
    x: Numbers = []
    y: Numbers = []
    for section in np.flatnonzero(chosen):
        own = slice(curves.edge[section], curves.edge[section + 1] + 1)
        if x and not chosen[section - 1]:
            x.append(None)
            y.append(None)
        x += numbers(curves.east_m[own], 1)
        y += numbers(curves.north_m[own], 1)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "line": {"color": colour, "width": width, "dash": dash},
        "hoverinfo": "skip",
    }


def _ends(curves: Curves) -> Trace:
    """Marks of the start and the end; one for both where the course closes."""
    apart = np.hypot(np.ptp(curves.east_m[[0, -1]]), np.ptp(curves.north_m[[0, -1]]))
    closes = apart < _CLOSED * curves.window.width_m
    chosen = [0] if closes else [0, -1]
    return {
        "type": "scatter",
        "mode": "markers+text",
        "meta": "always",
        "x": numbers(curves.east_m[chosen], 1),
        "y": numbers(curves.north_m[chosen], 1),
        "text": ["start, end"] if closes else ["start", "end"],
        "textposition": ["middle right", "middle right"],
        "textfont": {"size": 15},
        "marker": {
            "symbol": ["circle", "square"],
            "size": 12,
            "color": PAPER_TOKEN,
            "line": {"width": 2.5, "color": INK_TOKEN},
        },
        "hoverinfo": "skip",
    }


def _image(backdrop: Backdrop) -> dict[str, Any]:
    window = backdrop.window
    return {
        "source": f"data:image/jpeg;base64,{base64.b64encode(backdrop.jpeg()).decode('ascii')}",
        "xref": "x",
        "yref": "y",
        "x": -window.width_m / 2.0,
        "y": window.height_m / 2.0,
        "sizex": window.width_m,
        "sizey": window.height_m,
        "sizing": "stretch",
        "layer": "below",
        "opacity": "@shade",
    }
