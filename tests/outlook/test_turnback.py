"""Where to turn back, against closed forms; chances and cards against what they must obey."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from tests.outlook.builders import CONFIG, at_speed, straight
from tests.outlook.turnback_builders import SUDDEN, exactly, request_of, without_stretches
from wherewatt.errors import InputError
from wherewatt.ingest.sheet import WeatherSheet
from wherewatt.outlook.out_and_home import ROAD_IN_COMMON, on_the_same_road, out_and_home
from wherewatt.outlook.printed import as_markdown
from wherewatt.outlook.turnback import Turnback, farthest, turn_back
from wherewatt.outlook.turnback_json import TURNBACK_SCHEMA, turnback_document
from wherewatt.outlook.turnback_view import view_of_turnback
from wherewatt.outlook.turnback_words import CAUTION
from wherewatt.outlook.vehicle import Day
from wherewatt.units import DistanceUnit

KM = DistanceUnit.KM
KINETIC_WH = 0.66980  # of 100 kg at 25 km/h, ½·m·v²


@pytest.fixture(scope="module")
def hilly() -> Turnback:
    """A road that climbs steadily, so that home is mostly downhill."""
    return turn_back(request_of(straight(20000.0, grade=0.01).with_stops(0.5)), 0.9, 1000.0, CONFIG)


@pytest.mark.parametrize(("headwind_m_s", "turn_km"), [(0.0, 18.311), (2.0, 17.441), (4.0, 15.267)])
def test_turn_around_distance(headwind_m_s: float, turn_km: float) -> None:
    # Closed form: 300 Wh at the wheel over the sum of both ways' forces; 100 kg, 0.60 m², 0.012.
    known = exactly(wind_north_m_s=-headwind_m_s, battery_usable_wh=1.0)
    course = straight(20000.0)
    ways = out_and_home(course, at_speed(25.0, SUDDEN), known, without_stretches())
    # The closed form has no starts: one from home and one at the turn are added to its energy.
    margin = 300.0 + 2.0 * KINETIC_WH - ways.need_wh
    assert farthest(ways.at_m, margin, 0.9) / 1000.0 == pytest.approx(turn_km, abs=1e-3)


def test_wind_out_and_home_costs_its_square() -> None:
    # Closed form: mean of (v+w)² and (v−w)² is v² + w², so ½·ρ·CdA·w² more on average.
    wind, course = 4.0, straight(10000.0)
    calm, windy = (
        out_and_home(
            course, at_speed(25.0, SUDDEN), exactly(wind_north_m_s=-blowing), without_stretches()
        )
        for blowing in (0.0, wind)
    )
    more = (windy.need_wh - calm.need_wh)[0, 1:-1] / (windy.at_m[1:-1] / 1000.0)
    per_km = 2.0 * 0.5 * 1.225 * 0.60 * wind**2 / 3.6
    assert more == pytest.approx(per_km, rel=1e-4)


def test_turning_takes_what_a_ride_of_that_length_takes() -> None:
    """Turning half way costs as much as a road that ends there: one ride gives all places."""
    known, config = exactly(wind_north_m_s=-3.0, drivetrain_efficiency=0.8), without_stretches()
    whole = out_and_home(straight(8000.0, grade=0.01), at_speed(25.0), known, config)
    half = out_and_home(straight(4000.0, grade=0.01), at_speed(25.0), known, config)
    there = whole.at(np.array([4000.0]), whole.out_wh + whole.home_wh + whole.start_wh)[0, 0]
    # It differs by what the air spares while braking and starting slowly at the turn.
    assert there == pytest.approx(half.out_wh[0, -1] + half.home_wh[0, -1], rel=0.01)


def test_need_counts_the_deepest_point_of_a_way_home() -> None:
    """Over a pass home: what a descent gives back cannot be used before it."""
    course = straight(6000.0)
    height = np.interp(course.edge_m, [0.0, 3000.0, 6000.0], [0.0, 300.0, 0.0])
    known = exactly(regenerative_share=0.9)
    ways = out_and_home(
        replace(course, height_m=height), at_speed(25.0, SUDDEN), known, without_stretches()
    )
    total = ways.home_wh[0, -1] + ways.start_wh[-1]
    assert ways.need_home_wh[0, -1] > total + 10.0
    assert ways.need_home_wh[0, -1] == pytest.approx(
        ways.home_wh[0, -1] - ways.home_wh[0].min() + ways.start_wh[-1]
    )


def test_same_road_is_partly_the_same_on_the_way_home() -> None:
    numbers = np.random.default_rng(1).standard_normal((20000, 7))
    same = on_the_same_road(numbers)
    assert np.std(same, axis=0) == pytest.approx(1.0, abs=0.03)
    for out, home in ((0, 6), (1, 5), (2, 4)):
        between = np.corrcoef(same[:, out], same[:, home])[0, 1]
        assert between == pytest.approx(ROAD_IN_COMMON, abs=0.03)
    assert np.array_equal(same[:, :4], numbers[:, :4])


def test_chance_at_the_turn_is_what_was_asked(hilly: Turnback) -> None:
    assert not hilly.to_the_end
    assert hilly.farthest.chance == pytest.approx(0.9, abs=0.01)
    assert hilly.farthest.at_m < hilly.even_chance_m
    chances = [turn.chance for turn in hilly.along]
    assert chances == sorted(chances, reverse=True)


def test_surer_is_nearer(hilly: Turnback) -> None:
    places = [
        turn_back(hilly.request, wanted, 1000.0, CONFIG).farthest.at_m
        for wanted in (0.5, 0.8, 0.95, 0.99)
    ]
    assert places == sorted(places, reverse=True)
    assert places[0] == pytest.approx(hilly.even_chance_m)


def test_less_of_everything_is_nearer(hilly: Turnback) -> None:
    request = hilly.request
    windy = WeatherSheet(temperature_c=20.0, wind_speed_m_s=9.0, wind_from_deg=0.0)
    for harder in (
        replace(request, battery_pct=70.0),
        replace(request, reserve_pct=30.0),
        replace(request, day=Day(110.0, request.day.weather)),
        replace(request, day=Day(80.0, windy)),
        replace(request, pace=replace(request.pace, top_speed_m_s=10.0)),
    ):
        found = turn_back(harder, 0.9, 1000.0, CONFIG)
        assert found.farthest.at_m < hilly.farthest.at_m


def test_margin_that_dips_ends_the_promise_there() -> None:
    """A place beyond one from which home is not sure is not promised, though it be sure itself."""
    at = np.array([0.0, 100.0, 200.0, 300.0])
    margin = np.array([[5.0, 1.0, -1.0, 4.0]])
    assert farthest(at, margin, 0.9) == pytest.approx(150.0)
    assert farthest(at, np.array([[-1.0, 1.0, 1.0, 1.0]]), 0.9) == 0.0
    assert farthest(at, np.ones((1, 4)), 0.9) == 300.0


def test_card_goes_on_only_where_the_next_row_gets_home(hilly: Turnback) -> None:
    """Enough to go on is enough to turn here, and no less than the next row needs to turn."""
    rows = hilly.card.rows
    assert rows[0].at_m == 0.0
    assert rows[-1].at_m == hilly.request.course.length_m
    assert rows[-1].go_on_pct is None
    for row, following in pairwise(rows):
        assert row.go_on_pct is not None
        assert row.go_on_pct >= max(row.home_pct, following.home_pct)
    homes = [row.home_pct for row in rows]
    assert homes == sorted(homes)  # the road climbs: from farther out home is never nearer
    assert rows[0].home_pct > 10.0  # the reserve, as a display shows it at its worst


def test_card_does_not_depend_on_the_charge(hilly: Turnback) -> None:
    other = turn_back(replace(hilly.request, battery_pct=60.0), 0.9, 1000.0, CONFIG)
    assert other.card == hilly.card


def test_card_and_turn_agree(hilly: Turnback) -> None:
    """Where the display is expected to show the card's number, home is about as sure as asked."""
    at = np.array([row.at_m for row in hilly.card.rows])
    home = np.array([row.home_pct for row in hilly.card.rows])
    left_there = 100.0 * (1.0 - 0.5 * (1.0 - hilly.farthest.left.median))  # climbing takes more
    needed = float(np.interp(hilly.farthest.at_m, at, home))
    assert needed == pytest.approx(left_there, abs=25.0)


def test_loop_may_be_ridden_on(hilly: Turnback) -> None:
    loop = replace(straight(12000.0).with_stops(0.5), loop=True)
    found = turn_back(request_of(loop), 0.9, 1000.0, CONFIG)
    assert found.whole_loop is not None
    onward = [row.onward for row in found.card.rows]
    assert onward == sorted(onward)  # back at first, then on
    assert onward[7:] == [True] * len(onward[7:])
    assert hilly.whole_loop is None
    text = as_markdown(view_of_turnback(found, KM))
    assert "loop" in text or "all the way round" in text


def test_do_not_set_out() -> None:
    request = request_of(straight(5000.0), battery_pct=11.0)
    found = turn_back(request, 0.9, 1000.0, CONFIG)
    assert view_of_turnback(found, KM).answers[0].startswith("Do not set out")


def test_whole_way_and_home(hilly: Turnback) -> None:
    found = turn_back(request_of(straight(2000.0)), 0.9, 1000.0, CONFIG)
    assert found.to_the_end
    assert "to the end of the way, 2.0 km" in view_of_turnback(found, KM).answers[0]
    assert "Turn back at" in view_of_turnback(hilly, KM).answers[0]


def test_distances_are_rounded_down(hilly: Turnback) -> None:
    found = replace(hilly, farthest=replace(hilly.farthest, at_m=7999.0))
    assert "7.9 km" in view_of_turnback(found, KM).answers[0]


def test_thin_reserve_is_told() -> None:
    found = turn_back(request_of(straight(2000.0), reserve_pct=3.0), 0.9, 1000.0, CONFIG)
    assert "thin-reserve" in [note.code for note in found.notes]


@pytest.mark.parametrize(
    ("changed", "wanted", "words"),
    [
        ({"battery_pct": 8.0}, 0.9, "--reserve"),
        ({}, 0.3, "--chance"),
        ({}, 1.0, "--chance"),
    ],
)
def test_impossible_requests(changed: dict[str, object], wanted: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        turn_back(request_of(straight(2000.0), **changed), wanted, 1000.0, CONFIG)


def test_view_and_document(hilly: Turnback) -> None:
    printed = view_of_turnback(hilly, DistanceUnit.MI)
    assert " mi at the latest" in printed.answers[0]
    assert printed.caution == CAUTION
    assert "screen" in CAUTION
    document = turnback_document(hilly)
    assert document["schema"] == TURNBACK_SCHEMA
    again = json.loads(json.dumps(document, allow_nan=False))
    assert again["turn"]["at_km"] == pytest.approx(hilly.farthest.at_m / 1000.0)
    assert len(again["card"]) == len(hilly.card.rows)


def test_unknown_wind_costs_its_square() -> None:
    """Out and home in a wind of mean zero and spread σ: ½·ρ·CdA·σ² more per metre on average."""
    spread, length = 2.0, 4000.0
    calm = exactly()
    number = calm.parameters.index["wind_north_m_s"]
    covariance = np.zeros_like(calm.covariance)
    covariance[number, number] = spread**2
    config = without_stretches()
    ways = out_and_home(
        straight(length), at_speed(25.0, SUDDEN), replace(calm, covariance=covariance), config
    )
    known = out_and_home(straight(length), at_speed(25.0, SUDDEN), calm, config)
    calm_wh = known.out_wh[0, -1] + known.home_wh[0, -1]
    total = ways.out_wh[:, -1] + ways.home_wh[:, -1]
    winds = ways.draws.scores[:, number]
    # No draw is stronger than the speed, so it is exact: (v+w)² + (v−w)² = 2v² + 2w².
    per_draw = 0.5 * 1.225 * 0.60 * winds**2 * 2.0 * length / 3600.0
    # Draws of the total are log-normal: what is added adds up in the logarithm.
    assert np.log(total / calm_wh) == pytest.approx(per_draw / calm_wh, abs=1e-3)
