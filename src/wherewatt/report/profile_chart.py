"""The panels of the profile: height, surface, flow and battery over distance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from wherewatt.allocate.ledger import Z90
from wherewatt.arrays import BoolArray, FloatArray, IntArray
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
from wherewatt.report.result import RideResult
from wherewatt.report.wording import words
from wherewatt.units import DistanceUnit

_MOST_POINTS = 800  # more than the eye can tell apart
_NUMBER_SHARE = 0.018  # of the chart's width: a section's number fits
_LETTER_SHARE = 0.0075  # likewise one letter of a label
_DOUBTED = 0.5  # call-outs that kept less of their weight are marked


def draw_height(axes: Axes, result: RideResult, unit: DistanceUnit) -> None:
    """Height over distance, on bands of terrain, with the sections' numbers and structures."""
    profile, sections = result.profile, result.sections
    kept = _thinned(profile.node_m)
    x, y = profile.node_m[kept] / unit.metres, profile.node_height_m[kept] / unit.height_metres
    edges = sections.edge_m / unit.metres
    for name, start, end in _stretches(sections.terrain, edges):
        axes.axvspan(start, end, **_look(TERRAIN_FILLS[name]))
    axes.vlines(
        edges[1:-1], 0.0, 1.0, transform=axes.get_xaxis_transform(), color=FAINT, linewidth=0.4
    )
    halo = withStroke(linewidth=4.0, foreground=PAPER)  # keeps the hatches off the line
    axes.plot(x, y, color=INK, linewidth=1.5, path_effects=[halo])
    _number_sections(axes, edges)
    _mark_structures(axes, sections.structure, edges)
    room = max(float(np.ptp(y)), 20.0 / unit.height_metres)  # a level ride must not look hilly
    axes.set_ylim(float(y.min()) - 0.1 * room, float(y.min()) + 1.25 * room)
    axes.set_ylabel(f"Height [{unit.height_name}]")
    present = [name for name in TERRAIN_FILLS if name in sections.terrain]
    axes.legend(
        handles=[_key(TERRAIN_FILLS[name], name) for name in present],
        loc="lower right",
        bbox_to_anchor=(1.0, 1.07),
        borderaxespad=0.0,
        ncols=len(present),
    )


def draw_surface(axes: Axes, result: RideResult, unit: DistanceUnit) -> list[Artist]:
    """A strip of surfaces with their names where there is room; returns keys."""
    sections = result.sections
    edges = sections.edge_m / unit.metres
    fills = surface_fills(sections.surface)
    for name, start, end in _stretches(sections.surface, edges):
        axes.axvspan(start, end, **_look(fills[name]))
        if end - start >= (len(name) + 1) * _LETTER_SHARE * edges[-1]:
            _boxed_text(axes, (start + end) / 2.0, words(name))
    _as_strip(axes, "Surface")
    return [_key(fill, words(name)) for name, fill in fills.items()]


def draw_flow(axes: Axes, result: RideResult, unit: DistanceUnit) -> list[Artist]:
    """A strip of stop-and-go with a mark for every stop; returns keys."""
    edges = result.sections.edge_m / unit.metres
    stop_and_go = [name == "stop-and-go" for name in result.sections.flow]
    for stops_here, start, end in _stretches(stop_and_go, edges):
        if stops_here:
            axes.axvspan(start, end, **_look(FLOW_FILL))
    where = [stop.distance_m / unit.metres for stop in result.ride.stops]
    stops = axes.plot(
        where, [0.5] * len(where), linestyle="", marker="|", markersize=8.0, color=INK, label="stop"
    )
    axes.set_ylim(0.0, 1.0)
    _as_strip(axes, "Flow")
    keys: list[Artist] = [_key(FLOW_FILL, "stop-and-go")] if any(stop_and_go) else []
    return [*keys, *(stops if where else [])]


def draw_battery(axes: Axes, result: RideResult, unit: DistanceUnit) -> None:
    """What was left, with its 90 % band and the call-outs; energy used where there are none."""
    axes.grid(axis="y", color=FAINT, linewidth=0.3)
    axes.set_axisbelow(True)
    if not len(result.estimate.evidence.shown):
        _draw_energy_used(axes, result, unit)
        return
    ride = result.ride
    remaining, sd = result.remaining
    kept = _thinned(ride.distance_m)
    x, y, half = ride.distance_m[kept] / unit.metres, 100.0 * remaining[kept], 100.0 * sd[kept]
    axes.fill_between(
        x, y - Z90 * half, y + Z90 * half, color=BLUE, alpha=0.2, linewidth=0.0,
        label="90 % interval",
    )  # fmt: skip
    axes.plot(x, y, color=BLUE, linewidth=1.4, label="energy left, estimated")
    _draw_call_outs(axes, result, unit)
    low, high = axes.get_ylim()
    axes.set_ylim(max(low, -2.0), min(high, 112.0))
    axes.set_ylabel("Battery [%]")
    axes.legend(loc="lower left", ncols=2)


def _draw_call_outs(axes: Axes, result: RideResult, unit: DistanceUnit) -> None:
    shown = result.estimate.evidence.shown
    x = shown.distance_m / unit.metres
    axes.plot(
        x, result.estimate.display.percent, linestyle="", marker="_", markersize=11.0, color=BLUE,
        markeredgewidth=1.6, label="expected on the display", clip_on=False,
    )  # fmt: skip
    doubted = result.estimate.callout_weight < _DOUBTED
    kinds: tuple[tuple[BoolArray, str, dict[str, Any]], ...] = (
        (~shown.resting & ~doubted, "call-out", {"marker": "o", "color": INK}),
        (
            shown.resting & ~doubted,
            "call-out at rest",
            {"marker": "o", "color": INK, "markerfacecolor": PAPER},
        ),
        (doubted, "call-out of little weight", {"marker": "x", "color": VERMILLION}),
    )
    for chosen, label, look in kinds:
        if chosen.any():
            axes.plot(
                x[chosen], shown.percent[chosen], linestyle="", markersize=5.0, label=label,
                clip_on=False, zorder=3.0, **look,
            )  # fmt: skip


def _draw_energy_used(axes: Axes, result: RideResult, unit: DistanceUnit) -> None:
    """Energy used so far: without call-outs nothing is known of what was left."""
    used = np.concatenate([[0.0], np.cumsum(result.ledger.leg_wh.sum(axis=0))])
    kept = _thinned(result.ride.distance_m)
    x = result.ride.distance_m[kept] / unit.metres
    axes.plot(x, used[kept], color=BLUE, linewidth=1.4, label="energy used, estimated")
    total = result.ledger.total
    axes.errorbar(
        [x[-1]], [total.mean], yerr=[Z90 * total.sd], color=BLUE, capsize=4.0, clip_on=False,
        label="90 % interval of the whole ride",
    )  # fmt: skip
    axes.set_ylabel("Energy [Wh]")
    axes.legend(loc="upper left")


def _number_sections(axes: Axes, edges: FloatArray) -> None:
    """The number of each section above it, where there is room."""
    for index, (start, end) in enumerate(pairwise(edges)):
        if end - start >= _NUMBER_SHARE * edges[-1]:
            _text(axes, (start + end) / 2.0, 1.01, str(index + 1), fontsize=7.0)


def _mark_structures(axes: Axes, structures: Sequence[str], edges: FloatArray) -> None:
    """A bar with its name over every bridge, tunnel or cutting."""
    for name, start, end in _stretches(structures, edges):
        if name:
            axes.plot(
                [start, end], [0.88, 0.88], transform=axes.get_xaxis_transform(), color=INK,
                linewidth=2.5, solid_capstyle="butt",
            )  # fmt: skip
            _text(axes, (start + end) / 2.0, 0.9, words(name), fontsize=7.5)


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


def _stretches(labels: Sequence[Any], edges: FloatArray) -> Iterator[tuple[Any, float, float]]:
    """Runs of equal labels of sections: label, start and end."""
    for label, run in groupby(range(len(labels)), key=lambda index: labels[index]):
        indices = list(run)
        yield label, float(edges[indices[0]]), float(edges[indices[-1] + 1])


def _look(fill: Fill) -> dict[str, Any]:
    return {
        "facecolor": fill.shade,
        "hatch": fill.hatch,
        "edgecolor": HATCH,
        "linewidth": 0.0,
    }


def _key(fill: Fill, label: str) -> Patch:
    return Patch(**{**_look(fill), "linewidth": 0.5}, label=label)


def _thinned(distance_m: FloatArray) -> IntArray:
    """Points that are enough to draw a line, the ends among them."""
    wanted = np.linspace(distance_m[0], distance_m[-1], _MOST_POINTS)
    found = np.minimum(np.searchsorted(distance_m, wanted), len(distance_m) - 1)
    return np.unique(np.concatenate([[0], found, [len(distance_m) - 1]]))
