"""What was left in the battery, against what its display showed."""

from __future__ import annotations

from typing import Any

import numpy as np

from wherewatt.allocate.ledger import Z90
from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.report.charts.curves import Curves
from wherewatt.report.charts.parts import Chart, Key, Numbers, Trace, axis, numbers, title_of
from wherewatt.report.charts.profile import SIDE_MARGINS
from wherewatt.report.palette import BLUE, BLUE_TOKEN, INK_TOKEN, PAPER_TOKEN, VERMILLION, Fill
from wherewatt.report.result import RideResult
from wherewatt.report.wording import number

_DOUBTED = 0.5  # call-outs that kept less of their weight are marked
_BAND = Fill(BLUE, "", 0.22)
_HEIGHT_PX = 300


def battery_chart(result: RideResult, curves: Curves) -> Chart:
    """What was left with its 90 % band, and the call-outs; energy used where there are none."""
    if not result.estimate.evidence.charge_told:
        return _energy_used(result, curves)
    left, half = 100.0 * curves.left, 100.0 * Z90 * curves.left_sd
    shown = result.estimate.evidence.shown.percent
    low = max(-2.0, float(np.min(np.concatenate([left - half, shown]))) - 4.0)
    high = min(112.0, float(np.max(np.concatenate([left + half, shown]))) + 4.0)
    traces = [_band(curves, left - half, left + half), _line(curves, left), *_call_outs(result)]
    keys = (
        Key("energy left, estimated", "line", colour=BLUE_TOKEN),
        Key("90 % interval", fill=_BAND),
        *([Key("expected on the display", "dash", colour=BLUE_TOKEN)] if len(shown) else []),
        *(Key(label, look["symbol"], colour=look["color"]) for _, label, look in _kinds(result)),
    )
    return _chart(traces, "Battery [%]", [low, high], keys)


def _chart(
    traces: list[Trace], title: str, limits: list[float] | None, keys: tuple[Key, ...]
) -> Chart:
    y = axis(title=title_of(title), showgrid=True, ticks="outside", ticklabelstandoff=5)
    layout = {
        "xaxis": axis(ticks="outside", fixedrange=False, anchor="y"),
        "yaxis": y if limits is None else {**y, "range": limits},
        "margin": {**SIDE_MARGINS, "t": 8, "b": 46},
    }
    return Chart(traces, layout, _HEIGHT_PX, quantities={"xaxis": "distance"}, keys=keys)


def _band(curves: Curves, low: FloatArray, high: FloatArray) -> Trace:
    there, back = numbers(curves.distance_m, 1), numbers(curves.distance_m[::-1], 1)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": there + back,
        "y": numbers(low, 1) + numbers(high[::-1], 1),
        "fill": "toself",
        "fillcolor": _BAND.paint,
        "line": {"width": 0},
        "hoverinfo": "skip",
    }


def _line(curves: Curves, values: FloatArray) -> Trace:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": numbers(curves.distance_m, 1),
        "y": numbers(values, 1),
        "line": {"color": BLUE_TOKEN, "width": 2.2},
        "hoverinfo": "skip",
    }


def _kinds(result: RideResult) -> list[tuple[BoolArray, str, dict[str, Any]]]:
    """Kinds of call-outs that there are: which, their name and their look."""
    shown = result.estimate.evidence.shown
    doubted = result.estimate.callout_weight < _DOUBTED
    kinds: list[tuple[BoolArray, str, dict[str, Any]]] = [
        (~shown.resting & ~doubted, "call-out", {"symbol": "circle", "color": INK_TOKEN}),
        (
            shown.resting & ~doubted,
            "call-out at rest",
            {"symbol": "circle-open", "color": INK_TOKEN},
        ),
        (doubted, "call-out of little weight", {"symbol": "x-thin", "color": VERMILLION}),
    ]
    return [kind for kind in kinds if kind[0].any()]


def _call_outs(result: RideResult) -> list[Trace]:
    """A dash for what the display was expected to show, and a mark for what it showed."""
    estimate = result.estimate
    shown, expected = estimate.evidence.shown, estimate.display.percent
    hints = [
        f"shown {number(percent, 0)} %, expected {number(wanted, 1)} %"
        for percent, wanted in zip(shown.percent, expected, strict=True)
    ]
    everything = np.ones(len(shown), dtype=np.bool_)
    line = {"width": 2.5, "color": BLUE_TOKEN}
    dash = {"symbol": "line-ew", "size": 16, "color": BLUE_TOKEN, "line": line}
    traces = [_marks(shown.distance_m, expected, everything, dash, hints)]
    for chosen, _, look in _kinds(result):
        paper = {"color": PAPER_TOKEN} if look["symbol"] == "circle-open" else {}
        symbol = look["symbol"].removesuffix("-open")
        line = {"width": 2, "color": look["color"]}
        mark = {**look, "symbol": symbol, "size": 9, "line": line, **paper}
        traces.append(_marks(shown.distance_m, shown.percent, chosen, mark, hints))
    return traces


def _marks(
    distance_m: FloatArray,
    percent: FloatArray,
    chosen: BoolArray,
    marker: dict[str, Any],
    hints: list[str],
) -> Trace:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": numbers(distance_m[chosen], 1),
        "y": numbers(percent[chosen], 1),
        "marker": marker,
        "text": [hint for hint, own in zip(hints, chosen, strict=True) if own],
        "hoverinfo": "text",
        "cliponaxis": False,
    }


def _energy_used(result: RideResult, curves: Curves) -> Chart:
    """Energy used so far: without call-outs nothing is known of what was left."""
    total = result.ledger.total
    end: Numbers = numbers(curves.distance_m[-1:], 1)
    interval: Trace = {
        "type": "scatter",
        "mode": "markers",
        "x": end,
        "y": [round(total.mean, 1)],
        "error_y": {"array": [round(Z90 * total.sd, 1)], "color": BLUE_TOKEN, "thickness": 2},
        "marker": {"color": BLUE_TOKEN, "size": 6},
        "hoverinfo": "skip",
        "cliponaxis": False,
    }
    keys = (
        Key("energy used, estimated", "line", colour=BLUE_TOKEN),
        Key("90 % interval of the whole ride", "whisker", colour=BLUE_TOKEN),
    )
    return _chart([_line(curves, curves.used_wh), interval], "Energy [Wh]", None, keys)
