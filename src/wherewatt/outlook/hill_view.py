"""The hill test in words and tables."""

from __future__ import annotations

from collections.abc import Iterable

from wherewatt.allocate.ledger import Measure
from wherewatt.outlook.hill_test import WINDOW_S, HillPassage, HillTest
from wherewatt.outlook.printed import Grid, Heading, Printed
from wherewatt.outlook.turnback_words import CAUTION, chance_words, far
from wherewatt.report.wording import duration, energy_decimals, number, plain
from wherewatt.units import DistanceUnit


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
            f"The next one fits: {ways} takes {energy}, and the chance to have {reserve} left "
            f"is {chance_words(found.chance_next)}; {found.more} more have a chance of "
            f"{chance_words(found.wanted)}."
        )
    else:
        yield (
            f"Do not count on the next one: {ways} takes {energy}, and the chance to have "
            f"{reserve} left is {chance_words(found.chance_next)}."
        )
    yield f"Left now: {_measure(found.left_wh)}. The way home from the hill is not in that."
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
    length = far(found.hill.length_m, unit)
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
    return f"{number(measure.mean, decimals)} Wh (90 %: {ends} Wh)"
