"""The profile of a ride as a picture, drawn without any global state of the plotting library."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wherewatt.report.palette import INK
from wherewatt.report.profile_chart import draw_battery, draw_flow, draw_height, draw_surface
from wherewatt.report.profile_data import ProfileData

_STYLE: Any = {  # the type of its keys depends on the library's version
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 10.5,
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
    "legend.fontsize": 9.5,
}
_SIZE_IN = (12.0, 6.75)
_DPI = 160  # a frame of 1920 by 1080
_COMPRESSION = 3  # of 9: a sixth larger than at 6, in two thirds of its time

# Bottom and height of the panels, and their left and right ends, as shares of the picture. A layout
# that is found rather than given takes as long as the drawing itself.
_PANELS = ((0.535, 0.325), (0.462, 0.045), (0.422, 0.026), (0.148, 0.25))
_LEFT, _RIGHT = 0.068, 0.985


def profile_figure(data: ProfileData) -> Figure:
    """Height, surface, flow and battery over distance."""
    with _style():
        figure = Figure(figsize=_SIZE_IN)
        panels = _panels(figure)
        height, surface, flow, battery = panels
        draw_height(height, data)
        keys = [*draw_surface(surface, data), *draw_flow(flow, data)]
        draw_battery(battery, data)
        battery.set_xlim(0.0, data.length)
        battery.set_xlabel(f"Distance [{data.unit}]")
        _write_headline(figure, data)
        if keys:
            figure.legend(handles=keys, loc="lower center", borderaxespad=0.3, ncols=8)
    return figure


def write_profile_png(data: ProfileData, path: Path) -> None:
    """Write the profile as PNG; the same ride gives the same bytes.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    figure = profile_figure(data)
    with _style():
        figure.savefig(
            path,
            format="png",
            dpi=_DPI,
            metadata={"Software": None},
            pil_kwargs={"compress_level": _COMPRESSION},
        )


def _panels(figure: Figure) -> list[Axes]:
    """Panels one above the other over the same distances; only the lowest is labelled."""
    panels: list[Axes] = []
    for bottom, height in _PANELS:
        place = (_LEFT, bottom, _RIGHT - _LEFT, height)
        panels.append(figure.add_axes(place, sharex=panels[0] if panels else None))
    for panel in panels[:-1]:
        panel.tick_params(axis="x", bottom=False, labelbottom=False)
    for panel in (panels[0], panels[-1]):
        panel.yaxis.set_label_coords(-0.042, 0.5)
    return panels


def _write_headline(figure: Figure, data: ProfileData) -> None:
    """Name of the ride and, as on the page, the answer."""
    figure.text(_LEFT, 0.975, data.name, fontsize=14.0, weight="bold", va="top")
    figure.text(_RIGHT, 0.972, data.headline, fontsize=12.0, va="top", ha="right")


def _style() -> AbstractContextManager[None]:
    return matplotlib.rc_context(_STYLE)
