"""Where to turn back, and the card, in words and tables."""

from __future__ import annotations

from collections.abc import Iterable

from wherewatt.outlook.card import FULL_PCT, CardRow
from wherewatt.outlook.printed import Grid, Heading, Printed
from wherewatt.outlook.turnback import Turn, Turnback
from wherewatt.outlook.turnback_words import CAUTION, chance_words, far, speed_words
from wherewatt.report.wording import number, plain
from wherewatt.units import DistanceUnit

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
    wanted, reserve = chance_words(found.wanted), f"{request.reserve_pct:g} %"
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
            f"You may ride all the way round, {far(length, unit)}: from {start} the chance to be "
            f"home with {reserve} left is {chance_words(loop)}."
        )
    elif found.to_the_end:
        yield (
            f"You may ride to the end of the way, {far(length, unit)}, and home again: from "
            f"{start} the chance to be home with {reserve} left is {chance_words(chance)}."
        )
    else:
        yield (
            f"Turn back at {far(place.at_m, unit)} at the latest: from {start} the chance to be "
            f"home with {reserve} left is then {wanted}."
        )
        if loop is not None:
            yield (
                f"The way is a loop: the chance of riding all the way round, "
                f"{far(length, unit)}, is {chance_words(loop)}."
            )
        elif found.even_chance_m < length:
            yield f"From {far(found.even_chance_m, unit)} it is as likely as not."


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
    parts.append(f"{speed_words(pace.top_speed_m_s, unit)}")
    if weather.temperature_c is not None:
        parts.append(f"{weather.temperature_c:.0f} °C")
    if weather.wind_speed_m_s is None:
        parts.append("wind unknown")
    else:
        parts.append(f"wind {weather.wind_speed_m_s:g} m/s")
        if weather.wind_from_deg is not None and weather.wind_speed_m_s > 0.0:
            parts[-1] += f" from {weather.wind_from_deg:.0f}°"
    parts.append(f"{request.reserve_pct:g} % kept, chance {chance_words(found.wanted)}")
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
        return (*cells, chance_words(turn.chance))
    way, chance = ("onward", whole_loop) if row.onward else ("back", turn.chance)
    return (*cells, way, chance_words(chance))


def _percent(percent: int, beyond: str) -> str:
    return beyond if percent > FULL_PCT else str(percent)
