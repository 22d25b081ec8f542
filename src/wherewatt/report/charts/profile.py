"""The height along the ride, with its sections, surfaces and stops."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from wherewatt.report.charts.curves import Curves
from wherewatt.report.charts.parts import (
    Chart,
    Key,
    Numbers,
    Trace,
    axis,
    numbers,
    pattern,
    stretches,
    strip,
    text,
)
from wherewatt.report.palette import (
    FLOW_FILL,
    INK_TOKEN,
    TERRAIN_FILLS,
    ZEBRA_FILLS,
    surface_fills,
)
from wherewatt.report.result import RideResult
from wherewatt.report.wording import words

SIDE_MARGINS = {"l": 62, "r": 14}  # the same for all charts over distance: their ends align
_LEAST_RANGE_M = 20.0  # a level ride must not look hilly
_DOMAINS = {
    "yaxis2": (0.945, 1.0),
    "yaxis": (0.25, 0.925),
    "yaxis3": (0.125, 0.2),
    "yaxis4": (0.0, 0.075),
}
_LABELS = {"yaxis3": "Surface", "yaxis4": "Stops"}


def profile_chart(result: RideResult, curves: Curves) -> Chart:
    """Draw the height over the distance, and strips of sections, surfaces and stops."""
    sections = result.sections
    edges = sections.edge_m
    fills = surface_fills(sections.surface)
    floor, top = _range(curves)
    traces = [
        *_numbers(result),
        *_ground(result, curves, floor),
        _edges(curves, floor),
        _line(curves),
        *_structures(result, floor, top),
        *(
            strip(fill, _of(stretches(sections.surface, edges), name, words(name)), "y3")
            for name, fill in fills.items()
        ),
        *_flow(result),
    ]
    present = [name for name in TERRAIN_FILLS if name in sections.terrain]
    keys = [
        *(Key(name, fill=TERRAIN_FILLS[name]) for name in present),
        *(Key(words(name), fill=fill) for name, fill in fills.items()),
        *([Key("stop-and-go", fill=FLOW_FILL)] if "stop-and-go" in sections.flow else []),
        *([Key("stop", "bar")] if result.ride.stops else []),
        *([Key("bridge, tunnel or cutting", "line", width=4.0)] if any(sections.structure) else []),
    ]
    return Chart(
        traces,
        _layout(floor, top),
        height_px=400,
        quantities={"xaxis": "distance", "yaxis": "height"},
        keys=tuple(keys),
    )


def _layout(floor: float, top: float) -> dict[str, Any]:
    strips = {
        name: axis(domain=domain, range=[0, 1], showticklabels=False, ticks="", showline=False)
        for name, domain in _DOMAINS.items()
    }
    height = axis(domain=_DOMAINS["yaxis"], range=[floor, top], showgrid=True, ticks="outside")
    names = [
        {
            "text": name,
            "xref": "paper",
            "yref": "paper",
            "x": 0,
            "y": sum(_DOMAINS[strip]) / 2,
            "xshift": -6,
            "xanchor": "right",
            "yanchor": "middle",
            "showarrow": False,
            "font": {"size": 12},
        }
        for strip, name in _LABELS.items()
    ]
    return {
        **strips,
        "yaxis": height,
        "xaxis": axis(anchor="y4", ticks="outside", fixedrange=False),
        "margin": {**SIDE_MARGINS, "t": 6, "b": 46},
        "barmode": "overlay",
        "annotations": names,
    }


def _range(curves: Curves) -> tuple[float, float]:
    low, high = float(np.min(curves.height_m)), float(np.max(curves.height_m))
    room = max(high - low, _LEAST_RANGE_M)
    return low - 0.1 * room, low + 1.22 * room


def _of(
    runs: list[tuple[str, float, float]], wanted: str, word: str
) -> list[tuple[float, float, str]]:
    return [(start, end, word) for label, start, end in runs if label == wanted]


def _numbers(result: RideResult) -> list[Trace]:
    """The numbers of the sections, on boxes of two shades in turn."""
    boxes = [
        (start, end, str(number))
        for number, (start, end) in enumerate(pairwise(result.sections.edge_m), start=1)
    ]
    return [
        strip(fill, boxes[first::2], "y2")
        for first, fill in enumerate(ZEBRA_FILLS)
        if boxes[first::2]
    ]


def _ground(result: RideResult, curves: Curves, floor: float) -> list[Trace]:
    """The area below the line, by terrain: an outline for each stretch, None between them."""
    traces = []
    edges = curves.edge.astype(np.float64)
    for name, fill in TERRAIN_FILLS.items():
        x: Numbers = []
        y: Numbers = []
        for first, last, _ in _of(stretches(result.sections.terrain, edges), name, ""):
            own = slice(int(first), int(last) + 1)
            along = numbers(curves.distance_m[own], 1)
            x += [along[0], *along, along[-1], None]
            y += [floor, *numbers(curves.height_m[own], 1), floor, None]
        if x:
            traces.append(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "x": x,
                    "y": y,
                    "fill": "toself",
                    "fillcolor": fill.paint,
                    "line": {"width": 0},
                    "hoverinfo": "skip",
                    **({"fillpattern": pattern(fill)} if fill.hatch else {}),
                }
            )
    return traces


def _edges(curves: Curves, floor: float) -> Trace:
    """A thin line where a section begins."""
    inner = curves.edge[1:-1]
    x = [value for at in numbers(curves.distance_m[inner], 1) for value in (at, at, None)]
    y = [value for at in numbers(curves.height_m[inner], 1) for value in (floor, at, None)]
    return _drawn(x, y, "@rule", 1.0)


def _line(curves: Curves) -> Trace:
    return _drawn(numbers(curves.distance_m, 1), numbers(curves.height_m, 1), INK_TOKEN, 2.0)


def _drawn(x: Numbers, y: Numbers, colour: str, width: float) -> Trace:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }


def _structures(result: RideResult, floor: float, top: float) -> list[Trace]:
    """A bar with its name over every bridge, tunnel or cutting."""
    sections = result.sections
    level: Numbers = [top - 0.09 * (top - floor)] * 3
    traces = []
    for name, start, end in stretches(sections.structure, sections.edge_m):
        if name:
            along = numbers(np.array([start, (start + end) / 2.0, end]), 1)
            trace = _drawn(along, level, INK_TOKEN, 4.0)
            trace |= {"mode": "lines+text", "text": ["", text(words(name)), ""]}
            traces.append({**trace, "textposition": "top center", "textfont": {"size": 12}})
    return traces


def _flow(result: RideResult) -> list[Trace]:
    """Boxes of stop-and-go, and a mark for every stop."""
    sections = result.sections
    boxes = _of(stretches(sections.flow, sections.edge_m), "stop-and-go", "")
    traces = [strip(FLOW_FILL, boxes, "y4")] if boxes else []
    at = np.array([stop.distance_m for stop in result.ride.stops])
    marks: Trace = {
        "type": "scatter",
        "mode": "markers",
        "yaxis": "y4",
        "x": numbers(at, 1),
        "y": [0.5] * len(at),
        "marker": {
            "symbol": "line-ns-open",
            "size": 14,
            "color": INK_TOKEN,
            "line": {"width": 1.5, "color": INK_TOKEN},
        },
        "hoverinfo": "skip",
        "cliponaxis": False,
    }
    return [*traces, marks]
