"""A comparison in tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import ascii_uppercase

import numpy as np

from wherewatt.allocate.ledger import Measure
from wherewatt.config import Config
from wherewatt.outlook.compare import CAUSES, Pair
from wherewatt.outlook.equal_terms import OnEqualTerms
from wherewatt.outlook.laid_beside import LaidBeside
from wherewatt.outlook.printed import Grid, Heading
from wherewatt.outlook.standards import (
    DISTANCE_SPREAD,
    NO_TYPE_TEST,
    REFERENCE_CONSUMPTION,
    ROUNDING,
    STATED,
    recharge_consumption_of,
)
from wherewatt.outlook.switching import Cause
from wherewatt.report.wording import (
    INTERVAL_LINE,
    half_width,
    number,
    plain,
    rounded_to_sum,
    surface_words,
    words,
)
from wherewatt.units import DistanceUnit


@dataclass(frozen=True, slots=True)
class CauseWords:
    """A cause for people: its name, and what goes there."""

    name: str
    meaning: str


CAUSE_WORDS = {
    Cause.WIND: CauseWords("wind", "against and behind"),
    Cause.SURFACE: CauseWords("surface", "rougher than the reference"),
    Cause.HEIGHT: CauseWords("height", "climbs, less what descents gave back"),
    Cause.STOPS: CauseWords("stops", "and every change of speed"),
    Cause.SPEED: CauseWords("speed", "the pace held"),
    Cause.RIDER: CauseWords("rider", "mass and pedalling"),
    Cause.WEATHER: CauseWords("weather", "temperature and density of the air"),
    Cause.DAY: CauseWords("the day", "tyre pressure, posture, wet or dry"),
    Cause.UNEXPLAINED: CauseWords("unexplained", "stretches that no cause explains"),
    Cause.VEHICLE: CauseWords("vehicle", "what is left on equal terms"),
}


def letter(place: int) -> str:
    """Short name of a ride by its place: A, B, … Z, A2, …."""
    turn, rest = divmod(place, len(ascii_uppercase))
    return ascii_uppercase[rest] + (str(turn + 1) if turn else "")


def rides_grid(rides: Sequence[OnEqualTerms], config: Config, unit: DistanceUnit) -> Grid:
    """All rides, as ridden and on equal terms."""
    per_unit = unit.metres / 1000.0
    rows = []
    for place, ride in enumerate(rides):
        full = ride.vehicle.full_charge_km
        rows.append(
            (
                letter(place),
                plain(ride.result.name),
                plain(ride.result.recording.sheet.vehicle.name or "not named"),
                f"{ride.result.ride.distance_m[-1] / unit.metres:.1f}",
                *_with_half_width(ride.wh_per_km, per_unit),
                *_with_half_width(ride.vehicle.wh_per_km, per_unit),
                number(full.mean / per_unit, 0),
                f"{full.low90 / per_unit:.0f}–{full.high90 / per_unit:.0f}",
            )
        )
    headings = (
        Heading(""),
        Heading("Ride", words=True),
        Heading("Vehicle", words=True),
        Heading(f"{unit}"),
        Heading(f"Wh/{unit}"),
        Heading("±"),
        Heading("on equal terms"),
        Heading("±"),
        Heading(f"range, {unit}"),
        Heading("90 %"),
    )
    return Grid("As ridden, and on equal terms", headings, tuple(rows), (), (_terms(config, unit),))


def _terms(config: Config, unit: DistanceUnit) -> str:
    """The reference ride in a sentence."""
    ride, pace = config.reference, config.pace
    per_unit = unit.metres / 1000.0
    ascent = ride.ascent_m_per_km * per_unit / unit.height_metres
    kmh = 3.6 * pace.top_speed_m_s / per_unit
    wind = f"{ride.wind_speed_m_s:g} m/s of wind" if ride.wind_speed_m_s else "no wind"
    return (
        f"Equal terms: {ride.distance_m / unit.metres:.3g} {unit} on {words(ride.surface)}, "
        f"{ascent:.0f} {unit.height_name} of ascent and {pace.stops_per_km * per_unit:.2g} stops "
        f"per {unit}, {kmh:.3g} {unit.speed_name} held, rider {ride.rider_mass_kg:g} kg, "
        f"{ride.temperature_c:g} °C, {wind}, nobody pedals; --reference changes that."
    )


def causes_grid(pairs: Mapping[str, Pair], unit: DistanceUnit) -> Grid:
    """Why rides differed from the first, by the other ride's letter; columns add up as printed."""
    per_unit = unit.metres / 1000.0
    columns, totals = [], []
    for pair in pairs.values():
        measures = [pair.by_cause[cause] for cause in CAUSES]
        means = rounded_to_sum(np.array([measure.mean for measure in measures]) * per_unit, 2)
        columns.append([number(float(mean), 2) for mean in means])
        columns.append([number(half_width(measure) * per_unit, 2) for measure in measures])
        totals += [
            number(pair.difference.mean * per_unit, 2),
            number(half_width(pair.difference) * per_unit, 2),
        ]
    # With more rides there is no room for the meanings beside them.
    meaning = [[CAUSE_WORDS[cause].meaning for cause in CAUSES]] if len(pairs) <= 3 else []
    rows = zip((CAUSE_WORDS[cause].name for cause in CAUSES), *meaning, *columns, strict=True)
    headings = [Heading("Cause", words=True), *(Heading("", words=True) for _ in meaning)]
    for name in pairs:
        headings += [Heading(f"{name} less A"), Heading("±")]
    return Grid(
        f"Why they differed on the road, Wh/{unit}",
        tuple(headings),
        tuple(rows),
        ("as ridden", *("" for _ in meaning), *totals),
        (INTERVAL_LINE,),
    )


def shared_ground_grid(name: str, beside: LaidBeside, unit: DistanceUnit) -> Grid:
    """The first ride and another on the road that both went."""
    per_unit = unit.metres / 1000.0
    rows = [
        (
            f"{of.start_m / unit.metres:.2f}–{of.end_m / unit.metres:.2f}",
            words(of.terrain),
            surface_words(of.surface, ""),
            number(of.wh_per_km.mean * per_unit, 1),
            number(of.other_wh_per_km.mean * per_unit, 1),
            number(of.difference.mean * per_unit, 1),
            number(half_width(of.difference) * per_unit, 1),
        )
        for of in beside.sections
    ]
    headings = (
        Heading(f"A, {unit}"),
        Heading("Terrain", words=True),
        Heading("Surface", words=True),
        Heading("A"),
        Heading(name),
        Heading(f"{name} less A"),
        Heading("±"),
    )
    title = (
        f"On the same road: {beside.shared_m / unit.metres:.1f} {unit} that A and {name} both "
        f"went, {100.0 * beside.share:.0f} % of the longer ride; Wh/{unit}"
    )
    whole = (
        "all of it",
        "",
        "",
        number(beside.wh_per_km.mean * per_unit, 1),
        number(beside.other_wh_per_km.mean * per_unit, 1),
        number(beside.difference.mean * per_unit, 1),
        number(half_width(beside.difference) * per_unit, 1),
    )
    return Grid(title, headings, tuple(rows), whole)


def recharge_grids(rides: Sequence[OnEqualTerms], config: Config, unit: DistanceUnit) -> list[Grid]:
    """Consumption by recharge energy, of the rides that tell it."""
    rows = []
    for place, ride in enumerate(rides):
        found = recharge_consumption_of(ride.result, config)
        if found is not None:
            per_unit = unit.metres / 1000.0
            cells = (*_two(found.wall, per_unit), *_two(found.battery, per_unit))
            rows.append((letter(place), *cells))
    if not rows:
        return []
    asked = ", ".join(f"{stated.quantity} {stated.accuracy}" for stated in STATED)
    below = (
        f"{REFERENCE_CONSUMPTION}. {ROUNDING}.",
        f"The standards ask for {asked} ({STATED[0].clause}; temperature: the regulation alone). "
        f"Here ± counts {100.0 * config.estimate.wall_energy_spread:g} % of the meter at the wall, "
        f"{100.0 * DISTANCE_SPREAD:g} % of the recorded distance and the charger.",
        NO_TYPE_TEST,
    )
    headings = (
        Heading(""),
        Heading(f"from the wall, Wh/{unit}"),
        Heading("±"),
        Heading(f"into the battery, Wh/{unit}"),
        Heading("±"),
    )
    return [Grid("Consumption by recharge energy", headings, tuple(rows), (), below)]


def _with_half_width(measure: Measure, factor: float) -> tuple[str, str]:
    return number(measure.mean * factor, 1), number(half_width(measure) * factor, 1)


def _two(measure: Measure, factor: float) -> tuple[str, str]:
    return number(measure.mean * factor, 2), number(half_width(measure) * factor, 2)
