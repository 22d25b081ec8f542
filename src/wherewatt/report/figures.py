"""Charts of a ride, drawn without any global state of the plotting library."""

from __future__ import annotations

import io
import re
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from wherewatt.report.energy_chart import draw_energy
from wherewatt.report.palette import INK
from wherewatt.report.profile_chart import draw_battery, draw_flow, draw_height, draw_surface
from wherewatt.report.result import RideResult
from wherewatt.units import DistanceUnit

_STYLE: Any = {  # the type of its keys depends on the library's version
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 9.0,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "text.parse_math": False,  # a "$" in a name is a "$"
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
    "svg.fonttype": "none",
}
_WIDTH_IN = 9.0
_DPI = 160


def profile_figure(result: RideResult, unit: DistanceUnit) -> Figure:
    """Height, surface, flow and battery over distance.

    Parameters
    ----------
    result : the ride.
    unit : unit of distance; heights are in metres or feet to match.
    """
    with _style():
        figure = Figure(figsize=(_WIDTH_IN, 6.6), layout="constrained")
        panels = figure.subplots(4, 1, sharex=True, height_ratios=(3.0, 0.34, 0.2, 2.2))
        height, surface, flow, battery = panels
        draw_height(height, result, unit)
        keys = [*draw_surface(surface, result, unit), *draw_flow(flow, result, unit)]
        draw_battery(battery, result, unit)
        battery.set_xlim(0.0, float(result.ride.distance_m[-1]) / unit.metres)
        battery.set_xlabel(f"Distance [{unit}]")
        for panel in panels[:-1]:
            panel.tick_params(axis="x", bottom=False, labelbottom=False)
        figure.align_ylabels(panels)
        if keys:
            figure.legend(handles=keys, loc="outside lower center", ncols=6)
    return figure


def energy_figure(result: RideResult, unit: DistanceUnit) -> Figure:
    """Energy of every section by cause: to the right what it took, to the left what it gave back.

    Parameters
    ----------
    result : the ride.
    unit : unit of distance.
    """
    with _style():
        height_in = 1.3 + 0.2 * len(result.sections)
        figure = Figure(figsize=(_WIDTH_IN, height_in), layout="constrained")
        keys = draw_energy(figure.subplots(), result, unit)
        figure.legend(handles=keys, loc="outside upper center", ncols=5)
    return figure


def write_profile_png(result: RideResult, path: Path, unit: DistanceUnit) -> None:
    """Write the profile as PNG; the same ride gives the same bytes.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    figure = profile_figure(result, unit)
    with _style():
        figure.savefig(path, format="png", dpi=_DPI, metadata={"Software": None})


def svg_element(figure: Figure, name: str) -> str:
    """A figure as an SVG element to stand inside a page, hidden from screen readers.

    Parameters
    ----------
    figure : the figure.
    name : prefix of all ids in it, so that two figures of one page do not clash.
    """
    buffer = io.StringIO()
    nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
    with _style(), matplotlib.rc_context({"svg.hashsalt": name}):
        figure.savefig(buffer, format="svg", metadata=nothing)
    svg = buffer.getvalue()
    head, _, body = svg[svg.index("<svg") :].partition(">")
    # A page needs no namespaces, and a style for all elements has no business there.
    view_box = re.findall(r'viewBox="[^"]*"', head)[0]
    body = re.sub(r"<style.*?</style>", "", body, count=1, flags=re.DOTALL)
    body = re.sub(r'( id="|url\(#|xlink:href="#)', rf"\g<1>{name}-", body)
    body = body.replace("xlink:href=", "href=")
    return f'<svg {view_box} stroke-linejoin="round" aria-hidden="true">{body}'


def _style() -> AbstractContextManager[None]:
    return matplotlib.rc_context(_STYLE)
