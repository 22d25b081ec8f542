"""A result as rows of text: what the page and the terminal both show.

Columns that add up are rounded so that they also add up as printed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wherewatt.allocate.ledger import Z90, Measure
from wherewatt.report import tables
from wherewatt.report.result import RideResult
from wherewatt.report.wording import (
    CAUSE_WORDS,
    HANDBOOK_ONLY,
    NO_RANGE,
    decimals_for,
    duration,
    energy_decimals,
    half_width,
    interval,
    number,
    parameter_words,
    plain,
    rounded_to_sum,
    surface_words,
    words,
)
from wherewatt.units import DistanceUnit


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number for people: value with unit, and its 90 % interval (empty where there is none)."""

    name: str
    value: str
    interval: str


@dataclass(frozen=True, slots=True)
class SectionRow:
    """A section, or the whole ride; distances in the reader's unit, energies in Wh."""

    section: str
    name: str
    span: str
    length: str
    terrain: str
    flow: str
    surface: str
    ascent: str
    descent: str
    speed: str
    energy: str
    half_width: str
    per_distance: str
    share: str


@dataclass(frozen=True, slots=True)
class CauseRow:
    """A cause, or their sum; energies in Wh."""

    name: str
    meaning: str
    energy: str
    half_width: str
    share: str


@dataclass(frozen=True, slots=True)
class DisplayRow:
    """A call-out against the estimate; everything but the place in %."""

    at: str
    shown: str
    estimated: str
    interval: str
    expected: str
    weight: str


@dataclass(frozen=True, slots=True)
class VoltageRow:
    """A call-out of voltage against the estimate; voltages in V, the weight in %."""

    at: str
    shown: str
    expected: str
    weight: str


@dataclass(frozen=True, slots=True)
class ParameterRow:
    """A parameter before and after the ride, each with its standard deviation.

    `informed` is the share of its variance that the ride removed [%]. `after_middle`, `after_low`
    and `after_high` say where its mean and 90 % interval after the ride lie in a drawing that is
    136 wide, with the mean before it at 68 and a standard deviation before it 20 wide.
    """

    name: str
    unit: str
    before: str
    after: str
    informed: str
    after_middle: str
    after_low: str
    after_high: str


def is_handbook_only(result: RideResult) -> bool:
    """Whether nothing was measured on the ride."""
    return any(note.code == HANDBOOK_ONLY for note in result.notes)


def warnings(result: RideResult) -> list[str]:
    """What was odd, one sentence each; not the lack of any measurement, which is said first."""
    texts = [plain(note.message) for note in result.notes if note.code != HANDBOOK_ONLY]
    return [f"{text[:1].upper()}{text[1:].rstrip('.')}." for text in texts]


def headline(result: RideResult, unit: DistanceUnit) -> list[Quantity]:
    """The answer: distance, energy, consumption, range, and what was left in the end."""
    ledger = result.ledger
    total, per_km = ledger.total, ledger.wh_per_km
    decimals, per_unit = energy_decimals(total.mean), unit.metres / 1000.0
    distance = float(result.ride.distance_m[-1]) / unit.metres
    answer = [
        Quantity("Distance", f"{number(distance, 2)} {unit}", ""),
        Quantity(
            "Energy from the battery",
            f"{number(total.mean, decimals)} Wh",
            f"{interval(total, decimals)} Wh",
        ),
        Quantity(
            "Consumption",
            f"{number(per_km.mean * per_unit, 1)} Wh/{unit}",
            f"{interval(per_km, 1, per_unit)} Wh/{unit}",
        ),
        _full_charge(ledger.full_charge_km, unit),
    ]
    # Without a call-out nothing is known of the charge at the start, so nothing of what is left.
    return [*answer, _left(result)] if result.estimate.evidence.charge_told else answer


def _left(result: RideResult) -> Quantity:
    remaining, sd = result.remaining
    left = Measure(100.0 * float(remaining[-1]), 100.0 * float(sd[-1]))
    within = f"{interval(left, 0, low=0.0)} %"
    return Quantity("Energy left at the end", f"{number(left.mean, 0)} %", within)


def _full_charge(full_charge_km: Measure, unit: DistanceUnit) -> Quantity:
    name = "Range of a full charge, ridden like this"
    if not np.isfinite(full_charge_km.mean):
        return Quantity(name, NO_RANGE, "")
    factor = 1000.0 / unit.metres
    decimals = 1 if full_charge_km.mean * factor < 20.0 else 0
    return Quantity(
        name,
        f"{number(full_charge_km.mean * factor, decimals)} {unit}",
        f"{interval(full_charge_km, decimals, factor, low=0.0)} {unit}",
    )


def section_rows(result: RideResult, unit: DistanceUnit) -> list[SectionRow]:
    """The sections, in order."""
    table = tables.sections_table(result)
    per_km = 1000.0 / unit.metres  # reader's units of distance in a kilometre
    energy = rounded_to_sum(table["battery_wh"], 1)
    share = rounded_to_sum(table["share_pct"], 1)
    edge = np.round(result.sections.edge_m / unit.metres, 2)
    return [
        SectionRow(
            section=str(row["section"]),
            name=plain(row["name"]),
            span=f"{number(edge[at], 2)}–{number(edge[at + 1], 2)}",
            length=number(edge[at + 1] - edge[at], 2),
            terrain=words(row["terrain"]),
            flow=words(row["flow"]),
            surface=surface_words(row["surface"], row["structure"]),
            ascent=number(row["ascent_m"] / unit.height_metres, 0),
            descent=number(row["descent_m"] / unit.height_metres, 0),
            speed=number(row["mean_speed_kmh"] * per_km, 1),
            energy=number(energy[at], 1),
            half_width=number(half_width(measure), 1),
            per_distance=_per_distance(row["wh_per_km"], per_km),
            share=number(share[at], 1),
        )
        for at, (row, measure) in enumerate(
            zip(table.rows(), result.ledger.section_measures, strict=True)
        )
    ]


def _per_distance(wh_per_km: float, per_km: float) -> str:
    return number(wh_per_km / per_km, 1) if np.isfinite(wh_per_km) else "–"


def section_total(result: RideResult, unit: DistanceUnit) -> SectionRow:
    """The whole ride as the last row of the sections."""
    ride, ledger = result.ride, result.ledger
    ascent, descent = (float(part.sum()) for part in result.ascent_and_descent_m)
    metres = float(ride.distance_m[-1])
    moving_s = float(np.sum(ride.leg_time_s[~ride.standing]))
    speed = metres / moving_s * 3600.0 / unit.metres if moving_s > 0.0 else 0.0
    return SectionRow(
        section="",
        name="",
        span="whole ride",
        length=number(metres / unit.metres, 2),
        terrain="",
        flow="",
        surface="",
        ascent=number(ascent / unit.height_metres, 0),
        descent=number(descent / unit.height_metres, 0),
        speed=number(speed, 1),
        energy=number(ledger.total.mean, 1),
        half_width=number(half_width(ledger.total), 1),
        per_distance=number(ledger.wh_per_km.mean * unit.metres / 1000.0, 1),
        share=number(100.0, 1),
    )


def cause_rows(result: RideResult) -> list[CauseRow]:
    """The causes, in the order of the tables, without those that play no part; then their sum."""
    by_cause, total = result.ledger.by_cause, result.ledger.total
    means = np.array([measure.mean for measure in by_cause.values()])
    energy = rounded_to_sum(means, 1)
    share = rounded_to_sum(100.0 * means / total.mean, 1)
    rows = [
        CauseRow(
            name=CAUSE_WORDS[cause].name,
            meaning=CAUSE_WORDS[cause].meaning,
            energy=number(energy[at], 1),
            half_width=number(half_width(measure), 1),
            share=number(share[at], 1),
        )
        for at, (cause, measure) in enumerate(by_cause.items())
        if measure.mean != 0.0 or measure.sd > 0.0
    ]
    both = number(total.mean, 1), number(half_width(total), 1)
    return [*rows, CauseRow("From the battery", "all causes together", *both, number(100.0, 1))]


def display_rows(result: RideResult, unit: DistanceUnit) -> list[DisplayRow]:
    """What the display showed, what was left, and what the display was expected to show."""
    rows = []
    for row in tables.display(tables.verdict(result)):
        left = Measure(row["estimated_pct"], row["sd"])
        rows.append(
            DisplayRow(
                at=number(row["at_km"] * 1000.0 / unit.metres, 1),
                shown=number(row["shown_pct"], 0),
                estimated=number(left.mean, 1),
                interval=interval(left, 1),
                expected=number(row["expected_pct"], 1),
                weight=number(row["weight_pct"], 0),
            )
        )
    return rows


def voltage_rows(result: RideResult, unit: DistanceUnit) -> list[VoltageRow]:
    """What a meter showed, and what it was expected to show."""
    return [
        VoltageRow(
            at=number(row["at_km"] * 1000.0 / unit.metres, 1),
            shown=number(row["shown_v"], 1),
            expected=number(row["expected_v"], 1),
            weight=number(row["weight_pct"], 0),
        )
        for row in tables.voltages(tables.verdict(result))
    ]


def parameter_rows(result: RideResult) -> list[ParameterRow]:
    """The parameters before and after, and the share of the variance that the ride removed."""
    rows = []
    for item in tables.calibration(result, tables.verdict(result)):
        said = parameter_words(item["name"], item["unit"])
        before = said.factor * np.array([item["prior_mean"], item["prior_sd"]])
        after = said.factor * np.array([item["mean"], item["sd"]])
        rows.append(
            ParameterRow(
                name=said.name,
                unit=said.unit,
                before=_with_sd(*before),
                after=_with_sd(*after),
                informed=number(item["informed_pct"], 0),
                **_drawn(item),
            )
        )
    return rows


def _drawn(item: dict[str, Any]) -> dict[str, str]:
    """Where a parameter lies after the ride, seen from before it; see `ParameterRow`."""
    spread = item["prior_sd"] or 1.0
    middle = 68.0 + 20.0 * (item["mean"] - item["prior_mean"]) / spread
    half = 20.0 * Z90 * item["sd"] / spread
    ends = {"after_middle": middle, "after_low": middle - half, "after_high": middle + half}
    # What lies farther out is drawn at the edge.
    return {name: f"{float(np.clip(at, 6.0, 130.0)):.1f}" for name, at in ends.items()}


def _with_sd(mean: float, sd: float) -> str:
    decimals = decimals_for(sd)
    return f"{number(mean, decimals)} ± {number(sd, decimals)}"


def time_line(result: RideResult) -> str:
    """Duration and stops in one line."""
    ride = result.ride
    moving = float(np.sum(ride.leg_time_s[~ride.standing]))
    stops = len(ride.stops)
    return (
        f"{duration(float(ride.time_s[-1]))}, {duration(moving)} of it moving, "
        f"{stops} {'stop' if stops == 1 else 'stops'}"
    )
