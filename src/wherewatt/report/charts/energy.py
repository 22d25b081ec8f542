"""Energy by section and cause, and how the causes add up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from wherewatt.allocate.ledger import Measure
from wherewatt.allocate.loads import CAUSES
from wherewatt.arrays import FloatArray
from wherewatt.report.charts.curves import section_natures
from wherewatt.report.charts.parts import (
    CLEAR,
    Chart,
    Key,
    Trace,
    area,
    axis,
    numbers,
    text,
    title_of,
)
from wherewatt.report.palette import CAUSE_FILLS, INK_TOKEN, PAPER_TOKEN, ZEBRA_FILLS
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUSE_WORDS, half_width, number, rounded_to_sum

_ROW_PX = 22
_CAUSE_ROW_PX = 34


def sections_chart(result: RideResult) -> Chart:
    """A bar per section, stacked by cause, with a mark for what remains."""
    rows = len(result.sections)
    played = [
        (cause, energy)
        for cause, energy in zip(CAUSES, result.ledger.section_wh, strict=True)
        if energy.any()
    ]
    traces = [_bars(cause, energy) for cause, energy in played]
    traces.append(_marks(result.ledger.section_measures, range(rows)))
    numbered = [str(at + 1) for at in range(rows)]
    natures = [
        f"{text(nature)}  <b>{at}</b>"
        for at, nature in zip(numbered, section_natures(result), strict=True)
    ]
    chart = _chart(traces, rows, _ROW_PX)
    chart.layout["barmode"] = "relative"
    chart.layout["yaxis"] |= {
        "tickvals": list(range(rows)),
        "ticktext": numbered,
        "longtext": natures,
    }
    keys = (
        *(Key(CAUSE_WORDS[cause].name, fill=CAUSE_FILLS[cause]) for cause, _ in played),
        Key("from the battery, 90 % interval", "whisker"),
    )
    return Chart(chart.traces, chart.layout, chart.height_px, keys=keys)


def causes_chart(result: RideResult) -> Chart:
    """A bar per cause that begins where the one above ended; they end at the sum."""
    by_cause, total = result.ledger.by_cause, result.ledger.total
    played = [cause for cause, item in by_cause.items() if item.mean != 0.0 or item.sd > 0.0]
    energy = np.array([by_cause[cause].mean for cause in played])
    end = np.cumsum(energy)
    names = [CAUSE_WORDS[cause].name for cause in played]
    shown = rounded_to_sum(energy, 1)
    traces = [
        {**_step(at, value, float(end[at] - value)), "marker": area(CAUSE_FILLS[cause])}
        for at, (cause, value) in enumerate(zip(played, energy.tolist(), strict=True))
    ]
    sum_bar = {**_step(len(played), total.mean, 0.0), "marker": area(ZEBRA_FILLS[1])}
    hinges = _hinges(end)
    mark = _marks([total], [len(played)])
    chart = _chart([*traces, sum_bar, hinges, mark], len(played) + 1, _CAUSE_ROW_PX)
    signed = [f"{'+' if value > 0 else ''}{number(value, 1)}" for value in shown]
    labels = [*zip(names, signed, strict=True), ("From the battery", number(total.mean, 1))]
    chart.layout["yaxis"] |= {
        "tickvals": list(range(len(labels))),
        "ticktext": [f"{name}  <b>{value}</b>" for name, value in labels],
        "longtext": [f"{name}  <b>{value} Wh</b>" for name, value in labels],
    }
    chart.layout["barmode"] = "overlay"
    return chart


def _chart(traces: list[Trace], rows: int, row_px: int) -> Chart:
    """Rows of bars, the first on top."""
    layout: dict[str, Any] = {
        "xaxis": axis(
            title=title_of("Energy [Wh]"), showgrid=True, zeroline=True,
            zerolinecolor=INK_TOKEN, side="bottom", showline=False,
        ),
        "yaxis": axis(range=[rows - 0.4, -0.6], ticks="outside", tickcolor=CLEAR, showline=False),
        "margin": {"r": 14, "t": 4, "b": 42, "l": 40},
        "dragmode": False,
        "bargap": 0.26,
    }  # fmt: skip
    return Chart(traces, layout, height_px=46 + row_px * rows)


def _bars(cause: str, energy: FloatArray) -> Trace:
    name = CAUSE_WORDS[cause].name
    return {
        "type": "bar",
        "orientation": "h",
        "y": list(range(len(energy))),
        "x": numbers(energy, 3),
        "marker": area(CAUSE_FILLS[cause]),
        "hovertext": [
            f"Section {at}, {name}: {number(wh, 1)} Wh" for at, wh in enumerate(energy, start=1)
        ],
        "hoverinfo": "text",
    }


def _marks(measures: Sequence[Measure], rows: Sequence[int]) -> Trace:
    """A mark at each sum with its 90 % interval."""
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [round(measure.mean, 2) for measure in measures],
        "y": list(rows),
        "error_x": {
            "array": [round(half_width(measure), 2) for measure in measures],
            "color": INK_TOKEN,
            "thickness": 1.5,
            "width": 3,
        },
        "marker": {
            "symbol": "diamond",
            "size": 8,
            "color": PAPER_TOKEN,
            "line": {"color": INK_TOKEN, "width": 1.5},
        },
        "text": [
            f"{number(measure.mean, 1)} ± {number(half_width(measure), 1)} Wh"
            for measure in measures
        ],
        "hoverinfo": "text",
    }


def _step(row: int, value: float, base: float) -> Trace:
    return {
        "type": "bar",
        "orientation": "h",
        "y": [row],
        "x": [round(value, 3)],
        "base": [round(base, 3)],
        "hoverinfo": "skip",
    }


def _hinges(end: FloatArray) -> Trace:
    """Lines from the end of each bar to the next."""
    x = [at for value in numbers(end, 3) for at in (value, value, None)]
    y = [at for row in range(len(end)) for at in (row - 0.37, row + 1.37, None)]
    line = {"color": INK_TOKEN, "width": 1, "dash": "dot"}
    return {
        "type": "scatter", "mode": "lines", "x": x, "y": y, "line": line, "hoverinfo": "skip",
    }  # fmt: skip
