"""The way home during a ride in words and tables."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from wherewatt.outlook.homeward import Homeward, SpeedChance
from wherewatt.outlook.printed import Grid, Heading, Printed
from wherewatt.outlook.turnback_words import CAUTION, chance_words, far, range_words, speed_words
from wherewatt.report.wording import duration, number, plain
from wherewatt.units import DistanceUnit


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
    now, slower = (speed_words(one.top_speed_m_s, unit) for one in (present, best))
    kept = f"to have {found.reserve_pct:g} % left"
    length = far(found.course.length_m, unit)
    chance, surest = chance_words(present.chance), chance_words(best.chance)
    if present.chance >= found.wanted:
        yield f"Home at your pace of {now}: chance {chance} {kept} after {length}."
    elif found.enough:
        yield (
            f"Ride home at no more than {slower}: chance {surest} {kept} after {length}; at your "
            f"{now} it is {chance}."
        )
    else:
        yield (
            f"Do not count on getting home: even at {slower} the chance {kept} is {surest}; "
            "charge, push, or be fetched."
        )
        yield (
            f"At that speed {far(best.sure_m, unit)} of {length} have a chance of "
            f"{chance_words(found.wanted)}."
        )
    left = found.left.times(100.0)
    yield f"Left now: {number(left.median, 0)} % (90 %: {range_words(left, 0)} %)."


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
    title = f"The way home, {way}, {far(found.course.length_m, unit)}:"
    rows = tuple(_speed_row(one, unit) for one in found.speeds)
    below = (
        f"Sure for: how far {found.reserve_pct:g} % are kept with a chance of "
        f"{chance_words(found.wanted)}. The first row is the pace of the ride.",
    )
    return Grid(title, headings, rows, below=below)


def _speed_row(one: SpeedChance, unit: DistanceUnit) -> tuple[str, ...]:
    left = one.left.times(100.0)
    return (
        number(one.top_speed_m_s * 3600.0 / unit.metres, 0),
        chance_words(one.chance),
        duration(one.time_s),
        number(max(left.median, 0.0), 0),
        range_words(left, 0),
        number(np.floor(10.0 * one.sure_m / unit.metres) / 10.0, 1),
    )
