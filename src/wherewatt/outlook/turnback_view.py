"""Turning back, the way home and the hill test in words and tables."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from wherewatt.allocate.ledger import Measure
from wherewatt.outlook.card import FULL_PCT, CardRow
from wherewatt.outlook.draws import Spread
from wherewatt.outlook.hill_test import WINDOW_S, HillPassage, HillTest
from wherewatt.outlook.homeward import Homeward, SpeedChance
from wherewatt.outlook.printed import Grid, Heading, Printed
from wherewatt.outlook.turnback import Turn, Turnback
from wherewatt.report.wording import duration, energy_decimals, number, plain
from wherewatt.units import DistanceUnit

CAUTION = (
    "A prediction is not a promise: in doubt turn earlier. Do not run a lithium pack flat. Do not "
    "read a screen while riding. Road law and the maker's manual come first."
)
_NOWHERE_M = 100.0  # a turn so near the start is none


def view_of_turnback(found: Turnback, unit: DistanceUnit) -> Printed:
    """Where to turn, and the card."""
    return Printed(
        answers=tuple(_where_to_turn(found, unit)),
        grids=(_card(found, unit),),
        notes=tuple(plain(note.message) for note in found.notes),
        caution=CAUTION,
    )


def _where_to_turn(found: Turnback, unit: DistanceUnit) -> Iterable[str]:
    request = found.request
    wanted, reserve = _chance(found.wanted), f"{request.reserve_pct:g} %"
    start = _start(found)
    place, length = found.farthest, request.course.length_m
    if place.at_m < min(_NOWHERE_M, length):
        yield (
            f"Do not set out: from {start}, no way out and home keeps {reserve} with a chance of "
            f"{wanted}."
        )
        return
    loop, chance = found.whole_loop, place.chance
    if loop is not None and loop >= found.wanted:
        yield (
            f"You may ride all the way round, {_far(length, unit)}: from {start} the chance to be "
            f"home with {reserve} left is {_chance(loop)}."
        )
    elif found.to_the_end:
        yield (
            f"You may ride to the end of the way, {_far(length, unit)}, and home again: from "
            f"{start} the chance to be home with {reserve} left is {_chance(chance)}."
        )
    else:
        yield (
            f"Turn back at {_far(place.at_m, unit)} at the latest: from {start} the chance to be "
            f"home with {reserve} left is then {wanted}."
        )
        if loop is not None:
            yield (
                f"The way is a loop: the chance of riding all the way round, "
                f"{_far(length, unit)}, is {_chance(loop)}."
            )
        elif found.even_chance_m < length:
            yield f"From {_far(found.even_chance_m, unit)} it is as likely as not."


def _start(found: Turnback) -> str:
    battery = found.request.battery_pct
    return "a full charge" if battery is None else f"{battery:g} %"


def _card(found: Turnback, unit: DistanceUnit) -> Grid:
    headings = [Heading(f"At, {unit}"), Heading("Turn if below, %"), Heading("Home needs, %")]
    if found.whole_loop is not None:
        headings.append(Heading("Home is", words=True))
    headings.append(Heading(f"Chance from {_start(found)}"))
    rows = tuple(
        _card_row(row, turn, unit, found.whole_loop)
        for row, turn in zip(found.card.rows, found.along, strict=True)
    )
    below = (
        "Read the display at a stand. Where it shows less than the first number, turn back; less "
        "than the second, home is no longer sure: ride slower, charge, or be fetched.",
        "These two hold whatever the charge was at the start, for this way, wind and pace alone.",
    )
    return Grid(_for(found, unit), tuple(headings), rows, below=below)


def _for(found: Turnback, unit: DistanceUnit) -> str:
    """The card's heading: for what it holds."""
    request = found.request
    pace, weather = request.pace, request.day.weather
    parts = [f"{plain(request.vehicle.name)} on {plain(request.course.name)}"]
    if request.day.rider_mass_kg is not None:
        parts.append(f"rider {request.day.rider_mass_kg:.0f} kg")
    parts.append(f"{_speed(pace.top_speed_m_s, unit)}")
    if weather.temperature_c is not None:
        parts.append(f"{weather.temperature_c:.0f} °C")
    if weather.wind_speed_m_s is None:
        parts.append("wind unknown")
    else:
        parts.append(f"wind {weather.wind_speed_m_s:g} m/s")
        if weather.wind_from_deg is not None and weather.wind_speed_m_s > 0.0:
            parts[-1] += f" from {weather.wind_from_deg:.0f}°"
    parts.append(f"{request.reserve_pct:g} % kept, chance {_chance(found.wanted)}")
    return f"Card: {', '.join(parts)}."


def _card_row(
    row: CardRow, turn: Turn, unit: DistanceUnit, whole_loop: float | None
) -> tuple[str, ...]:
    least = "end" if row.go_on_pct is None else _percent(row.go_on_pct, "turn")
    cells = [
        number(row.at_m / unit.metres, 1),
        "go on" if row.onward else least,
        _percent(row.home_pct, "too far"),
    ]
    if whole_loop is None:
        return (*cells, _chance(turn.chance))
    way, chance = ("onward", whole_loop) if row.onward else ("back", turn.chance)
    return (*cells, way, _chance(chance))


def _percent(percent: int, beyond: str) -> str:
    return beyond if percent > FULL_PCT else str(percent)


def view_of_homeward(found: Homeward, unit: DistanceUnit) -> Printed:
    """Whether the ride gets home, and how fast it may be."""
    return Printed(
        answers=tuple(_home(found, unit)),
        grids=(_speeds(found, unit),),
        notes=tuple(dict.fromkeys(plain(note.message) for note in found.notes)),
        caution=CAUTION,
    )


def _home(found: Homeward, unit: DistanceUnit) -> Iterable[str]:
    present, best = found.present, found.best
    reserve, length = f"{found.reserve_pct:g} %", found.course.length_m
    now = _speed(present.top_speed_m_s, unit)
    if present.chance >= found.wanted:
        yield (
            f"Home at your pace of {now}: chance {_chance(present.chance)} to have {reserve} left "
            f"after {_far(length, unit)}."
        )
    elif found.enough:
        yield (
            f"Ride home at no more than {_speed(best.top_speed_m_s, unit)}: chance "
            f"{_chance(best.chance)} to have {reserve} left after {_far(length, unit)}; at your "
            f"{now} it is {_chance(present.chance)}."
        )
    else:
        yield (
            f"Do not count on getting home: even at {_speed(best.top_speed_m_s, unit)} the chance "
            f"to have {reserve} left is {_chance(best.chance)}; charge, push, or be fetched."
        )
        yield (
            f"At that speed {_far(best.sure_m, unit)} of {_far(length, unit)} have a chance of "
            f"{_chance(found.wanted)}."
        )
    left = found.left.times(100.0)
    yield f"Left now: {number(left.median, 0)} % (90 %: {_range(left, 0)} %)."


def _speeds(found: Homeward, unit: DistanceUnit) -> Grid:
    headings = (
        Heading(f"Top speed, {unit.speed_name}"),
        Heading("Chance"),
        Heading("Time"),
        Heading("Left at home, %"),
        Heading("90 % interval"),
        Heading(f"Sure for, {unit}"),
    )
    way = "back along the ride" if found.back_along else plain(found.course.name)
    title = f"The way home, {way}, {_far(found.course.length_m, unit)}:"
    rows = tuple(_speed_row(one, unit) for one in found.speeds)
    below = (
        f"Sure for: how far {found.reserve_pct:g} % are kept with a chance of "
        f"{_chance(found.wanted)}. The first row is the pace of the ride.",
    )
    return Grid(title, headings, rows, below=below)


def _speed_row(one: SpeedChance, unit: DistanceUnit) -> tuple[str, ...]:
    left = one.left.times(100.0)
    return (
        number(one.top_speed_m_s * 3600.0 / unit.metres, 0),
        _chance(one.chance),
        duration(one.time_s),
        number(max(left.median, 0.0), 0),
        _range(left, 0),
        number(np.floor(10.0 * one.sure_m / unit.metres) / 10.0, 1),
    )


def view_of_hill(found: HillTest, unit: DistanceUnit) -> Printed:
    """What the hill took, and how often it still fits."""
    notes = list(dict.fromkeys(plain(note.message) for note in found.result.notes))
    if not found.both_ways:
        way = "up" if found.passages[0].upward else "down"
        notes.insert(0, f"The hill was ridden only {way}: the next passage is counted as that.")
    return Printed(
        answers=tuple(_next(found)),
        grids=(_passages(found, unit),),
        notes=tuple(notes),
        caution=CAUTION,
    )


def _next(found: HillTest) -> Iterable[str]:
    reserve, ways = f"{found.reserve_pct:g} %", "up and down" if found.both_ways else "over it"
    energy = _measure(found.next_wh)
    if found.more:
        yield (
            f"The next one fits: {ways} takes {energy} Wh, and the chance to have {reserve} left "
            f"is {_chance(found.chance_next)}; {found.more} more have a chance of "
            f"{_chance(found.wanted)}."
        )
    else:
        yield (
            f"Do not count on the next one: {ways} takes {energy} Wh, and the chance to have "
            f"{reserve} left is {_chance(found.chance_next)}."
        )
    yield f"Left now: {_measure(found.left_wh)} Wh. The way home from the hill is not in that."
    if found.recovered is not None:
        share = found.recovered
        yield (
            f"Braking put back {number(100.0 * share.mean, 0)} % of what the way up took "
            f"(90 %: {number(100.0 * max(share.low90, 0.0), 0)} to "
            f"{number(100.0 * share.high90, 0)} %)."
        )


def _passages(found: HillTest, unit: DistanceUnit) -> Grid:
    headings = [
        Heading("Way", words=True),
        Heading(f"At, {unit}"),
        Heading("Time"),
        Heading(unit.speed_name),
        Heading(f"Height, {unit.height_name}"),
        Heading("Wh"),
        Heading("90 % interval"),
        Heading("Mean W"),
        Heading(f"Most W, {WINDOW_S:.0f} s"),
    ]
    returned = any(one.returned is not None for one in found.passages)
    if returned:
        headings.append(Heading("Back, Wh"))
    length = _far(found.hill.length_m, unit)
    rows = tuple(_passage_row(one, unit, returned=returned) for one in found.passages)
    return Grid(f"{plain(found.hill.name)}, {length}:", tuple(headings), rows)


def _passage_row(one: HillPassage, unit: DistanceUnit, *, returned: bool) -> tuple[str, ...]:
    decimals = energy_decimals(one.energy.mean)
    cells = (
        "up" if one.upward else "down",
        number(one.start_m / unit.metres, 1),
        duration(one.duration_s),
        number(one.speed_m_s * 3600.0 / unit.metres, 1),
        number(one.rise_m / unit.height_metres, 0),
        number(one.energy.mean, decimals),
        f"{number(one.energy.low90, decimals)} to {number(one.energy.high90, decimals)}",
        number(one.mean_w, 0),
        number(one.greatest_w, 0),
    )
    if not returned:
        return cells
    return (*cells, "" if one.returned is None else number(one.returned.mean, 1))


def _measure(measure: Measure) -> str:
    decimals = energy_decimals(measure.mean)
    ends = " to ".join(number(end, decimals) for end in (measure.low90, measure.high90))
    return f"{number(measure.mean, decimals)} (90 %: {ends})"


def _range(spread: Spread, decimals: int) -> str:
    ends = (max(0.0, spread.low90), max(0.0, spread.high90))
    return " to ".join(number(end, decimals) for end in ends)


def _far(metres: float, unit: DistanceUnit) -> str:
    """A distance to a tenth, rounded down: nobody is to turn later for a rounding."""
    return f"{number(np.floor(10.0 * metres / unit.metres + 1e-6) / 10.0, 1)} {unit}"


def _speed(speed_m_s: float, unit: DistanceUnit) -> str:
    return f"{number(speed_m_s * 3600.0 / unit.metres, 0)} {unit.speed_name}"


def _chance(chance: float) -> str:
    if chance > 0.995:
        return "above 99 %"
    return "below 1 %" if chance < 0.005 else f"{np.floor(100.0 * chance + 1e-6):.0f} %"
