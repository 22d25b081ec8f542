"""The charts of the page: what they draw is what the ledger says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wherewatt.allocate.loads import CAUSES
from wherewatt.report.backdrop import Backdrop, window_of
from wherewatt.report.charts.battery import battery_chart
from wherewatt.report.charts.course import course_chart
from wherewatt.report.charts.curves import Curves, curves_of
from wherewatt.report.charts.energy import causes_chart, sections_chart
from wherewatt.report.charts.parts import Trace, numbers, text
from wherewatt.report.charts.profile import profile_chart
from wherewatt.report.palette import CAUSE_FILLS, TERRAIN_FILLS, surface_fills, surface_lines
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUSE_WORDS

# Okabe and Ito 2008, "Color universal design", table of the set.
OKABE_ITO = {
    "#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7",
}  # fmt: skip


@pytest.fixture(scope="module")
def curves(simulated_result: RideResult) -> Curves:
    return curves_of(simulated_result)


def bars(traces: list[Trace]) -> list[Trace]:
    return [trace for trace in traces if trace["type"] == "bar"]


def test_curves_hold_the_edges_of_all_sections(
    simulated_result: RideResult, curves: Curves
) -> None:
    edge_m = simulated_result.sections.edge_m
    assert curves.distance_m[curves.edge] == pytest.approx(edge_m)
    assert len(curves.distance_m) < 900 + len(edge_m) + 2
    assert np.all(np.diff(curves.distance_m) >= 0.0)
    assert curves.section[0] == 0
    assert curves.section[-1] == len(simulated_result.sections) - 1
    assert curves.used_wh[-1] == pytest.approx(simulated_result.ledger.total.mean)


def test_course_is_as_long_as_the_ride(simulated_result: RideResult, curves: Curves) -> None:
    """Chords of a thinned course, so a little shorter; never longer."""
    metres = float(np.sum(np.hypot(np.diff(curves.east_m), np.diff(curves.north_m))))
    ridden = simulated_result.ride.distance_m[-1]
    assert 0.95 * ridden < metres < 1.01 * ridden


def test_bars_of_a_section_add_up_to_its_energy(simulated_result: RideResult) -> None:
    chart = sections_chart(simulated_result)
    drawn = np.sum([trace["x"] for trace in bars(chart.traces)], axis=0)
    wanted = simulated_result.ledger.section_wh.sum(axis=0)
    assert drawn == pytest.approx(wanted, abs=0.001 * len(CAUSES))


def test_each_cause_begins_where_the_last_one_ended(simulated_result: RideResult) -> None:
    *causes, total = bars(causes_chart(simulated_result).traces)
    end = 0.0
    for trace in causes:
        assert trace["base"][0] == pytest.approx(end, abs=0.002)
        end = trace["base"][0] + trace["x"][0]
    assert end == pytest.approx(total["x"][0], abs=0.002)
    assert total["x"][0] == pytest.approx(simulated_result.ledger.total.mean, abs=0.001)


def test_strips_cover_the_ride(simulated_result: RideResult, curves: Curves) -> None:
    chart = profile_chart(simulated_result, curves)
    ridden = float(simulated_result.ride.distance_m[-1])
    for strip in ("y2", "y3"):
        widths = [trace["width"] for trace in bars(chart.traces) if trace["yaxis"] == strip]
        assert sum(sum(width) for width in widths) == pytest.approx(ridden, abs=5.0)


def test_every_section_is_drawn_on_the_course_once_in_each_way(
    simulated_result: RideResult, curves: Curves
) -> None:
    chart, _ = course_chart(simulated_result, curves)
    points = np.diff(curves.edge).sum()
    for way in ("consumption", "surface"):
        legs = 0
        for trace in chart.traces:
            if trace["meta"] == way:
                known = np.array([value is not None for value in trace["x"]])
                there = np.array(trace["x"], dtype=float)
                step = np.diff(there)
                legs += int(np.sum(known[1:] & known[:-1] & np.isfinite(step)))
        # Touching sections repeat their common point.
        assert points <= legs <= points + len(simulated_result.sections)


def test_a_ride_without_call_outs_shows_energy_used(handbook_result: RideResult) -> None:
    curves = curves_of(handbook_result)
    chart = battery_chart(handbook_result, curves)
    assert chart.layout["yaxis"]["title"]["text"] == "Energy [Wh]"
    assert chart.traces[0]["y"][-1] == pytest.approx(handbook_result.ledger.total.mean, abs=0.06)
    assert "left_pct" not in curves.carried(charge_known=False)


def test_every_call_out_is_drawn(simulated_result: RideResult, curves: Curves) -> None:
    chart = battery_chart(simulated_result, curves)
    shown = simulated_result.estimate.evidence.shown
    _, _, expected, *marks = chart.traces
    assert len(expected["x"]) == len(shown)
    assert sum(len(trace["x"]) for trace in marks) == len(shown)
    assert sorted(value for trace in marks for value in trace["y"]) == sorted(shown.percent)


def test_colour_is_never_alone() -> None:
    """No two causes, terrains or surfaces share a hatch, and no two lines their dashes."""
    causes = [CAUSE_FILLS[cause] for cause in CAUSES]
    assert len({(fill.hatch, fill.colour) for fill in causes}) == len(causes)
    surfaces = ["asphalt", "worn_asphalt", "paving", "gravel", "dirt", "grass"]
    fills = surface_fills(surfaces)
    assert len({fill.hatch for fill in fills.values()}) == len(surfaces)
    assert len({line.dash for line in surface_lines(surfaces).values()}) == len(surfaces)
    assert len({fill.hatch for fill in TERRAIN_FILLS.values()}) == len(TERRAIN_FILLS)


def test_colours_are_those_that_all_can_tell_apart() -> None:
    neutral = {"#FFFFFF", "#8C8C8C"}
    fills = [*CAUSE_FILLS.values(), *TERRAIN_FILLS.values(), *surface_fills(["sand", "x"]).values()]
    assert {fill.colour for fill in fills} <= OKABE_ITO | neutral


def test_legend_of_the_energy_names_every_cause_that_played(simulated_result: RideResult) -> None:
    played = zip(CAUSES, simulated_result.ledger.section_wh, strict=True)
    wanted = [CAUSE_WORDS[cause].name for cause, energy in played if energy.any()]
    assert [key.label for key in sections_chart(simulated_result).keys][:-1] == wanted


def test_course_lies_on_its_backdrop(simulated_result: RideResult) -> None:
    window = window_of(simulated_result.ride)
    backdrop = Backdrop(window, np.full((10, 20), 0.5))
    result = replace(simulated_result, backdrop=backdrop)
    chart, _ = course_chart(result, curves_of(result))
    (image,) = chart.layout["images"]
    assert image["source"].startswith("data:image/jpeg;base64,")
    left, right = chart.layout["xaxis"]["range"]
    assert (image["x"], image["x"] + image["sizex"]) == pytest.approx((left, right))
    for trace in chart.traces:
        assert all(left < value < right for value in trace["x"] if value is not None)


def test_numbers_for_the_page() -> None:
    assert numbers(np.array([-0.04, 1.26, np.nan, np.inf]), 1) == [0.0, 1.3, None, None]
    assert str(numbers(np.array([-0.04]), 1)[0]) == "0.0"


def test_text_that_could_be_markup_is_escaped() -> None:
    assert text("<a href=x>&\x1b") == "&lt;a href=x&gt;&amp;\N{REPLACEMENT CHARACTER}"
    assert text("$x$") == "&#36;x&#36;"
