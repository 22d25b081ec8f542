"""Rides on equal terms: sums are exact, sides are equal, truth is held."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.outlook.compare_builders import CONFIG, simulated
from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.ledger import _add_terrain_edges
from wherewatt.allocate.pool import factor_of
from wherewatt.library import Facts, Learned, Library, RideMark
from wherewatt.outlook.compare import CAUSES, Comparison, compare
from wherewatt.outlook.compare_grids import letter
from wherewatt.outlook.compare_json import document
from wherewatt.outlook.compare_view import view_of
from wherewatt.outlook.printed import as_markdown
from wherewatt.outlook.switching import Cause
from wherewatt.report.result import RideResult
from wherewatt.units import DistanceUnit


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("rides")


@pytest.fixture(scope="module")
def rides(folder: Path) -> list[RideResult]:
    """Two vehicles over one course, and a third over another."""
    return [
        simulated(folder, "commuter", 31, garage=4),
        simulated(folder, "commuter", 31, garage=5),
        simulated(folder, "trail", 32, garage=6),
    ]


@pytest.fixture(scope="module")
def comparison(rides: list[RideResult]) -> Comparison:
    return compare(rides, CONFIG)


@pytest.fixture(scope="module")
def of_one(folder: Path) -> list[RideResult]:
    """Two rides of one vehicle."""
    return [
        simulated(folder, "hilly", 32, garage=4, name="mine"),
        simulated(folder, "city", 33, garage=4, name="mine"),
    ]


def test_causes_add_up_to_the_difference(comparison: Comparison) -> None:
    for pair in comparison.pairs:
        total = sum(measure.mean for measure in pair.by_cause.values())
        assert total == pytest.approx(pair.difference.mean, abs=1e-9)
        assert tuple(pair.by_cause) == CAUSES


def test_difference_is_that_of_the_reports(comparison: Comparison, rides: list[RideResult]) -> None:
    for pair, other in zip(comparison.pairs, rides[1:], strict=True):
        reported = other.ledger.wh_per_km, rides[0].ledger.wh_per_km
        apart = reported[0].mean - reported[1].mean
        assert pair.difference.mean == pytest.approx(apart, abs=1e-9)
        spread = np.hypot(reported[0].sd, reported[1].sd)
        assert pair.difference.sd == pytest.approx(spread, rel=1e-9)


def test_sides_are_equal(rides: list[RideResult]) -> None:
    there = compare(rides[:2], CONFIG).pairs[0]
    back = compare(rides[1::-1], CONFIG).pairs[0]
    assert there.chance == pytest.approx(1.0 - back.chance, abs=1e-12)
    assert there.log_range.mean == pytest.approx(-back.log_range.mean, abs=1e-12)
    assert there.log_range.sd == pytest.approx(back.log_range.sd)
    for cause in CAUSES:
        one, other = there.by_cause[cause], back.by_cause[cause]
        assert one.mean == pytest.approx(-other.mean, abs=1e-12)
        assert one.sd == pytest.approx(other.sd)


def test_a_ride_against_itself_is_nothing(rides: list[RideResult]) -> None:
    pair = compare([rides[0], rides[0]], CONFIG).pairs[0]
    assert all(measure.mean == 0.0 for measure in pair.by_cause.values())
    assert pair.difference.mean == pair.log_range.mean == 0.0
    assert pair.one_vehicle
    assert pair.by_cause[Cause.VEHICLE].sd == 0.0
    assert pair.beside is not None
    for of in pair.beside.sections:  # places are matched to a few metres
        assert of.difference.mean == pytest.approx(0.0, abs=0.02 * of.wh_per_km.mean), of


def test_unnamed_vehicles_are_not_one(rides: list[RideResult]) -> None:
    sheet = rides[0].recording.sheet
    unnamed = replace(sheet, vehicle=replace(sheet.vehicle, name=None))
    nobody = replace(rides[0], recording=replace(rides[0].recording, sheet=unnamed))
    pair = compare([nobody, nobody], CONFIG).pairs[0]
    assert not pair.one_vehicle
    assert pair.chance == pytest.approx(0.5)
    assert pair.log_range.sd > 0.0


def test_two_rides_know_their_vehicle_better(of_one: list[RideResult]) -> None:
    both = compare(of_one, CONFIG)
    first, second = both.rides
    assert first.vehicle is second.vehicle
    pair = both.pairs[0]
    assert pair.one_vehicle
    assert pair.by_cause[Cause.VEHICLE].mean == 0.0
    assert sum(of.mean for of in pair.by_cause.values()) == pytest.approx(pair.difference.mean)
    alone = [compare([ride, ride], CONFIG).rides[0].vehicle.log_range.sd for ride in of_one]
    assert first.vehicle.log_range.sd < min(alone)


def test_library_adds_what_other_rides_said(of_one: list[RideResult], tmp_path: Path) -> None:
    """A ride that lies in the library says as much as one that is given."""
    kept, given = of_one
    library = Library(tmp_path)
    library.keep(learned(kept))
    library.keep(learned(given))  # … and one that is both does not count twice
    known = compare([given, given], CONFIG, library).rides[0].vehicle
    both = compare(of_one, CONFIG).rides[0].vehicle
    assert known.log_range.sd == pytest.approx(both.log_range.sd, rel=0.02)
    assert known.log_range.mean == pytest.approx(both.log_range.mean, abs=0.01)


def learned(result: RideResult) -> Learned:
    sheet = result.recording.sheet
    mark = RideMark(sheet.vehicle.name or "", result.name, result.recording.track.sha256, "")
    facts = Facts(sheet.vehicle, sheet.weather.temperature_c)
    return Learned(mark, factor_of(result.estimate), facts)


@pytest.mark.parametrize(
    ("cause", "changed"),
    [
        (Cause.WIND, {"wind_north_m_s": 4.0, "wind_east_m_s": 4.0}),
        (Cause.RIDER, {"mass_kg": 25.0}),
    ],
)
def test_one_changed_value_is_its_own_cause(
    rides: list[RideResult], cause: Cause, changed: dict[str, float]
) -> None:
    """The same ride with more wind, or a heavier rider: the difference is of that cause."""
    estimate = rides[0].estimate
    parameters = estimate.evidence.parameters
    scores = estimate.solution.scores.copy()
    slopes = parameters.slopes(scores)
    for name, more in changed.items():
        scores[parameters.index[name]] += more / slopes[name]
    moved = replace(rides[0], estimate=with_scores(estimate, scores))
    by_cause = compare([rides[0], moved], CONFIG).pairs[0].by_cause
    whole = sum(of.mean for of in by_cause.values())
    assert abs(by_cause[cause].mean) > 0.5
    # Causes go together: a heavier rider makes hills and stops dearer, too.
    assert by_cause[cause].mean / whole > 0.6
    assert by_cause[Cause.VEHICLE].mean == 0.0


def with_scores(estimate: Estimate, scores: np.ndarray) -> Estimate:
    return replace(estimate, solution=replace(estimate.solution, scores=scores))


def test_stops_and_heights_are_their_own_cause(rides: list[RideResult]) -> None:
    """A rougher course over the same road: legs that were level rise and fall by 3 %."""
    estimate = rides[0].estimate
    legs = estimate.evidence.legs
    up = np.where(np.cumsum(legs.distance_m) % 2000.0 < 1000.0, 0.05, -0.05)
    hilly = replace(legs, rise_m=legs.rise_m + up * legs.distance_m)
    evidence = replace(estimate.evidence, legs=hilly)
    moved = replace(rides[0], estimate=replace(estimate, evidence=evidence))
    by_cause = compare([rides[0], moved], CONFIG).pairs[0].by_cause
    whole = sum(of.mean for of in by_cause.values())
    assert by_cause[Cause.HEIGHT].mean / whole == pytest.approx(1.0, abs=0.25)


def test_one_course_is_laid_side_by_side(comparison: Comparison) -> None:
    same, other = (pair.beside for pair in comparison.pairs)
    assert same is not None
    assert same.share > 0.9
    assert other is None or other.share < 0.2
    for of in same.sections:
        apart = of.other_wh_per_km.mean - of.wh_per_km.mean
        assert of.difference.mean == pytest.approx(apart)
        # Both began at one place; their odometers differ by a per cent or two.
        assert of.other_start_m == pytest.approx(of.start_m, rel=0.03, abs=50.0)


def test_sections_on_one_road_are_those_of_the_report(rides: list[RideResult]) -> None:
    """A ride beside itself shares all of itself, and its sections take what the report says."""
    beside = compare([rides[0], rides[0]], CONFIG).pairs[0].beside
    assert beside is not None
    energy = sum(of.wh_per_km.mean * (of.end_m - of.start_m) / 1000.0 for of in beside.sections)
    assert energy == pytest.approx(rides[0].ledger.total.mean, rel=0.03)
    km = sum(of.end_m - of.start_m for of in beside.sections) / 1000.0
    assert beside.wh_per_km.mean == pytest.approx(energy / km)
    assert beside.wh_per_km.sd == pytest.approx(rides[0].ledger.wh_per_km.sd, rel=0.03)
    whole = [of for of in beside.sections if of.end_m - of.start_m > 500.0]
    sections, ledger = rides[0].sections, rides[0].ledger
    edges, measures = sections.edge_m, ledger.section_measures
    # Where a section ends is given here, so that nothing is unknown of it.
    of_edges = np.zeros_like(ledger.section_covariance)
    edge_sd_m = CONFIG.estimate.terrain_edge_sd_m
    _add_terrain_edges(of_edges, sections, ledger.section_wh.sum(axis=0), edge_sd_m)
    sd = np.sqrt(np.diag(ledger.section_covariance - of_edges))
    for of in whole:
        number = int(np.searchsorted(edges, (of.start_m + of.end_m) / 2.0) - 1)
        if of.end_m - of.start_m == pytest.approx(edges[number + 1] - edges[number]):
            km = (of.end_m - of.start_m) / 1000.0
            # A stop at the very edge counts to one side or the other.
            assert of.wh_per_km.mean == pytest.approx(measures[number].mean / km, rel=5e-3)
            assert of.wh_per_km.sd == pytest.approx(sd[number] / km, rel=5e-3)


def test_words_say_what_the_numbers_say(comparison: Comparison) -> None:
    printed = view_of(comparison, CONFIG, DistanceUnit.KM)
    pair = comparison.pairs[0]
    first, second = ("B", "A") if pair.log_range.mean > 0.0 else ("A", "B")
    assert printed.answers[0].startswith(f"{first} goes ")
    assert f"farther than {second} on equal terms" in printed.answers[0]
    assert f"{max(pair.chance, 1.0 - pair.chance):.2f}" in printed.answers[0]
    assert "more" in printed.answers[1] or "less" in printed.answers[1]
    assert any("no type test" in text for grid in printed.grids for text in grid.below)
    assert any("ISO 13064-1:2012" in text for grid in printed.grids for text in grid.below)


def test_printed_causes_add_up_as_printed(comparison: Comparison) -> None:
    printed = view_of(comparison, CONFIG, DistanceUnit.MI)
    causes = next(grid for grid in printed.grids if grid.title.startswith("Why"))
    for column in (2, 4):
        cells = [float(row[column].replace("−", "-")) for row in causes.rows]
        assert sum(cells) == pytest.approx(float(causes.total[column].replace("−", "-")), abs=0.011)


def test_one_vehicle_is_said(of_one: list[RideResult]) -> None:
    printed = view_of(compare(of_one, CONFIG), CONFIG, DistanceUnit.KM)
    assert "rides of one vehicle" in printed.answers[0]
    assert any("mine is taken as one vehicle, by 2 rides" in note for note in printed.notes)


def test_markdown_escapes_names(rides: list[RideResult]) -> None:
    sheet = rides[0].recording.sheet
    odd = replace(sheet, vehicle=replace(sheet.vehicle, name="*|odd|*"))
    ride = replace(rides[0], recording=replace(rides[0].recording, sheet=odd))
    text = as_markdown(view_of(compare([ride, rides[1]], CONFIG), CONFIG, DistanceUnit.KM))
    assert r"\*\|odd\|\*" in text


def test_document_is_plain_json(comparison: Comparison) -> None:
    content = json.loads(json.dumps(document(comparison, CONFIG), allow_nan=False))
    assert content["schema"] == "wherewatt/comparison/1"
    assert [pair["ride"] for pair in content["pairs"]] == [1, 2]
    for pair in content["pairs"]:
        parts = [of["mean"] for of in pair["by_cause_wh_per_km"].values()]
        assert sum(parts) == pytest.approx(pair["difference_wh_per_km"]["mean"], abs=1e-9)


def test_letters() -> None:
    assert [letter(place) for place in (0, 1, 25, 26)] == ["A", "B", "Z", "A2"]
