"""The chart of energy by section and cause."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.container import ErrorbarContainer
from matplotlib.patches import Patch

from wherewatt.allocate.loads import CAUSES
from wherewatt.report.palette import CAUSE_FILLS, FAINT, INK, PAPER
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUSE_WORDS, half_width, number, surface_words
from wherewatt.units import DistanceUnit

Key = Patch | ErrorbarContainer


def draw_energy(axes: Axes, result: RideResult, unit: DistanceUnit) -> list[Key]:
    """One bar per section, stacked by cause, with a mark for what remains; returns keys."""
    keys = _draw_causes(axes, result)
    keys.append(_draw_sums(axes, result))
    rows = len(result.sections)
    _write_columns(axes, result, unit)
    axes.set_yticks([])
    axes.set_ylim(rows - 0.4, -0.6)
    axes.axvline(0.0, color=INK, linewidth=0.8)
    axes.grid(axis="x", color=FAINT, linewidth=0.3)
    axes.set_axisbelow(True)
    axes.set_xlabel("Energy [Wh]")
    return keys


def _draw_causes(axes: Axes, result: RideResult) -> list[Key]:
    """Bars: what took energy stacked to the right of zero, what gave some back to the left."""
    rows = np.arange(len(result.sections))
    right, left = np.zeros(len(rows)), np.zeros(len(rows))
    keys: list[Key] = []
    for cause, energy in zip(CAUSES, result.ledger.section_wh, strict=True):
        if not energy.any():
            continue
        fill = CAUSE_FILLS[cause]
        look: dict[str, Any] = {
            "facecolor": fill.shade,
            "hatch": fill.hatch,
            "edgecolor": INK,
            "linewidth": 0.3,
        }
        axes.barh(rows, energy, left=np.where(energy > 0.0, right, left), height=0.72, **look)
        right += np.maximum(energy, 0.0)
        left += np.minimum(energy, 0.0)
        keys.append(Patch(**look, label=CAUSE_WORDS[cause].name))
    return keys


def _draw_sums(axes: Axes, result: RideResult) -> ErrorbarContainer:
    """A mark at the sum of each section with its 90 % interval, and both as text."""
    measures = result.ledger.section_measures
    rows = np.arange(len(measures))
    mark = axes.errorbar(
        [measure.mean for measure in measures], rows,
        xerr=[half_width(measure) for measure in measures],
        fmt="D", markersize=4.0, color=INK, markerfacecolor=PAPER, elinewidth=1.2, capsize=2.0,
        label="from the battery, 90 % interval",
    )  # fmt: skip
    return mark


def _write_columns(axes: Axes, result: RideResult, unit: DistanceUnit) -> None:
    """Number, start and nature of each section beside its bar, and its energy."""
    sections = result.sections
    _column(axes, -8.0, "#", [str(index + 1) for index in range(len(sections))])
    starts = sections.edge_m[:-1] / unit.metres
    _column(axes, -30.0, f"from {unit}", [number(start, 1) for start in starts])
    labels = zip(sections.terrain, sections.flow, sections.surface, sections.structure, strict=True)
    natures = [
        ", ".join([terrain, *([flow] if flow != "steady" else []), surface_words(*on)])
        for terrain, flow, *on in labels
    ]
    _column(axes, -76.0, "section", natures)
    energies = [
        f"{number(measure.mean, 1)} ± {number(half_width(measure), 1)}"
        for measure in result.ledger.section_measures
    ]
    _column(axes, 66.0, "Wh", energies)


def _column(axes: Axes, points: float, heading: str, texts: Sequence[str]) -> None:
    """Text under a heading, one per row, that ends some points beside the panel.

    Negative points count from its left edge, positive ones from its right edge.
    """
    edge = 0.0 if points < 0.0 else 1.0
    for row, text in enumerate((heading, *texts), start=-1):
        axes.annotate(
            text, (edge, row), xycoords=axes.get_yaxis_transform(),
            xytext=(points, 0.0), textcoords="offset points", ha="right", va="center",
            fontsize=8.0, style="italic" if row < 0 else "normal", annotation_clip=False,
        )  # fmt: skip
