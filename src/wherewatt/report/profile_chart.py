"""The panels of the profile: height, surface, flow and battery over distance."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from wherewatt.arrays import BoolArray
from wherewatt.report.palette import (
    BLUE,
    FAINT,
    FLOW_FILL,
    HATCH,
    INK,
    PAPER,
    TERRAIN_FILLS,
    VERMILLION,
    Fill,
    surface_fills,
)
from wherewatt.report.profile_data import CallOuts, ProfileData

_NUMBER_SHARE = 0.018  # of the chart's width: a section's number fits
_LETTER_SHARE = 0.0075  # likewise one letter of a label
_STOP_AND_GO = "stop-and-go"
_DOUBTED = 0.5  # call-outs that kept less of their weight are marked


def draw_height(axes: Axes, data: ProfileData) -> None:
    """Height over distance, on bands of terrain, with the sections' numbers and structures."""
    x, y = data.height.x, data.height.y
    for name, start, end in data.stretches(data.terrain):
        axes.axvspan(start, end, **_look(TERRAIN_FILLS[name]))
    axes.vlines(
        data.edges[1:-1], 0.0, 1.0, transform=axes.get_xaxis_transform(), color=FAINT, linewidth=0.4
    )
    halo = withStroke(linewidth=4.0, foreground=PAPER)  # keeps the hatches off the line
    axes.plot(x, y, color=INK, linewidth=1.5, path_effects=[halo])
    _number_sections(axes, data)
    _mark_structures(axes, data)
    # A level ride must not look hilly.
    room = max(float(np.ptp(y)), 20.0 / data.unit.height_metres)
    axes.set_ylim(float(y.min()) - 0.1 * room, float(y.min()) + 1.25 * room)
    axes.set_ylabel(f"Height [{data.unit.height_name}]")
    present = [name for name in TERRAIN_FILLS if name in data.terrain]
    axes.legend(
        handles=[_key(TERRAIN_FILLS[name], name) for name in present],
        loc="lower right",
        bbox_to_anchor=(1.0, 1.07),
        borderaxespad=0.0,
        ncols=len(present),
    )


def draw_surface(axes: Axes, data: ProfileData) -> list[Artist]:
    """A strip of surfaces with their names where there is room; returns keys."""
    fills = surface_fills(data.surface)
    for name, start, end in data.stretches(data.surface):
        axes.axvspan(start, end, **_look(fills[name]))
        if end - start >= (len(name) + 1) * _LETTER_SHARE * data.length:
            _boxed_text(axes, (start + end) / 2.0, data.said[name])
    _as_strip(axes, "Surface")
    return [_key(fill, data.said[name]) for name, fill in fills.items()]


def draw_flow(axes: Axes, data: ProfileData) -> list[Artist]:
    """A strip of stop-and-go with a mark for every stop; returns keys."""
    for name, start, end in data.stretches(data.flow):
        if name == _STOP_AND_GO:
            axes.axvspan(start, end, **_look(FLOW_FILL))
    level = [0.5] * len(data.stops)
    stops = axes.plot(
        data.stops, level, linestyle="", marker="|", markersize=8.0, color=INK, label="stop"
    )
    axes.set_ylim(0.0, 1.0)
    _as_strip(axes, "Flow")
    keys: list[Artist] = [_key(FLOW_FILL, _STOP_AND_GO)] if _STOP_AND_GO in data.flow else []
    return [*keys, *(stops if data.stops else [])]


def draw_battery(axes: Axes, data: ProfileData) -> None:
    """What was left, with its 90 % band and the call-outs; energy used where there are none."""
    axes.grid(axis="y", color=FAINT, linewidth=0.3)
    axes.set_axisbelow(True)
    if data.call_outs is None:
        _draw_energy_used(axes, data)
        return
    x, y, half = data.battery.x, data.battery.y, data.battery.half
    axes.fill_between(
        x, y - half, y + half, color=BLUE, alpha=0.2, linewidth=0.0, label="90 % interval"
    )
    axes.plot(x, y, color=BLUE, linewidth=1.4, label="energy left, estimated")
    _draw_call_outs(axes, data.call_outs)
    low, high = axes.get_ylim()
    axes.set_ylim(max(low, -2.0), min(high, 112.0))
    axes.set_ylabel("Battery [%]")
    axes.legend(loc="lower left", ncols=2)


def _draw_call_outs(axes: Axes, call_outs: CallOuts) -> None:
    axes.plot(
        call_outs.x, call_outs.expected, linestyle="", marker="_", markersize=11.0, color=BLUE,
        markeredgewidth=1.6, label="expected on the display", clip_on=False,
    )  # fmt: skip
    doubted = call_outs.weight < _DOUBTED
    kinds: tuple[tuple[BoolArray, str, dict[str, Any]], ...] = (
        (~call_outs.resting & ~doubted, "call-out", {"marker": "o", "color": INK}),
        (
            call_outs.resting & ~doubted,
            "call-out at rest",
            {"marker": "o", "color": INK, "markerfacecolor": PAPER},
        ),
        (doubted, "call-out of little weight", {"marker": "x", "color": VERMILLION}),
    )
    for chosen, label, look in kinds:
        if chosen.any():
            axes.plot(
                call_outs.x[chosen], call_outs.shown[chosen], linestyle="", markersize=5.0,
                label=label, clip_on=False, zorder=3.0, **look,
            )  # fmt: skip


def _draw_energy_used(axes: Axes, data: ProfileData) -> None:
    """Energy used so far: without call-outs nothing is known of what was left."""
    used = data.battery
    axes.plot(used.x, used.y, color=BLUE, linewidth=1.4, label="energy used, estimated")
    axes.errorbar(
        used.x[-1:], used.y[-1:], yerr=used.half[-1:], color=BLUE, capsize=4.0, clip_on=False,
        label="90 % interval of the whole ride",
    )  # fmt: skip
    axes.set_ylabel("Energy [Wh]")
    axes.legend(loc="upper left")


def _number_sections(axes: Axes, data: ProfileData) -> None:
    """The number of each section above it, where there is room."""
    for index, (start, end) in enumerate(pairwise(data.edges)):
        if end - start >= _NUMBER_SHARE * data.length:
            _text(axes, (start + end) / 2.0, 1.01, str(index + 1), fontsize=7.0)


def _mark_structures(axes: Axes, data: ProfileData) -> None:
    """A bar with its name over every bridge, tunnel or cutting."""
    for name, start, end in data.stretches(data.structure):
        if name:
            axes.plot(
                [start, end], [0.88, 0.88], transform=axes.get_xaxis_transform(), color=INK,
                linewidth=2.5, solid_capstyle="butt",
            )  # fmt: skip
            _text(axes, (start + end) / 2.0, 0.9, data.said[name], fontsize=7.5)


def _text(axes: Axes, x: float, y: float, text: str, *, fontsize: float) -> None:
    """Text over a place of the distance axis, at a share of the panel's height."""
    axes.text(
        x, y, text, transform=axes.get_xaxis_transform(), ha="center", va="bottom",
        fontsize=fontsize,
    )  # fmt: skip


def _boxed_text(axes: Axes, x: float, text: str) -> None:
    """Text in the middle of a strip, legible on its hatch."""
    axes.text(
        x, 0.5, text, transform=axes.get_xaxis_transform(), ha="center", va="center_baseline",
        fontsize=7.0, bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 1.0},
    )  # fmt: skip


def _as_strip(axes: Axes, name: str) -> None:
    axes.set_yticks([])
    axes.set_ylabel(name, rotation=0.0, ha="right", va="center")
    axes.spines[:].set_visible(True)


def _look(fill: Fill) -> dict[str, Any]:
    return {
        "facecolor": fill.shade,
        "hatch": fill.hatch,
        "edgecolor": HATCH,
        "linewidth": 0.0,
    }


def _key(fill: Fill, label: str) -> Patch:
    return Patch(**{**_look(fill), "linewidth": 0.5}, label=label)
