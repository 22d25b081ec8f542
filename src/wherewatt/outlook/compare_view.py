"""A comparison in words and tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from wherewatt.allocate.ledger import Measure
from wherewatt.config import Config
from wherewatt.outlook.compare import CAUSES, Comparison, Pair
from wherewatt.outlook.compare_grids import (
    CAUSE_WORDS,
    causes_grid,
    letter,
    recharge_grids,
    rides_grid,
    shared_ground_grid,
)
from wherewatt.outlook.printed import Printed
from wherewatt.report.view import is_handbook_only
from wherewatt.report.wording import CAUTION_LINE, half_width, number, plain
from wherewatt.text import counted
from wherewatt.units import DistanceUnit

_SURE = 0.9  # a chance below this settles nothing; the same nine in ten as the intervals

_MOST_NAMED = 3  # causes in a sentence


def view_of(comparison: Comparison, config: Config, unit: DistanceUnit) -> Printed:
    """A comparison for people.

    Parameters
    ----------
    unit : unit of distances.
    """
    pairs = {letter(place + 1): pair for place, pair in enumerate(comparison.pairs)}
    beside = [
        shared_ground_grid(name, pair.beside, unit) for name, pair in pairs.items() if pair.beside
    ]
    return Printed(
        answers=tuple(
            sentence
            for name, pair in pairs.items()
            for sentence in (_answer(name, pair, unit), _on_the_road(name, pair, unit))
        ),
        grids=(
            rides_grid(comparison.rides, config, unit),
            causes_grid(pairs, unit),
            *beside,
            *recharge_grids(comparison.rides, config, unit),
        ),
        notes=tuple(_notes(comparison)),
        caution=CAUTION_LINE,
    )


def _answer(name: str, pair: Pair, unit: DistanceUnit) -> str:
    if pair.one_vehicle:
        full = pair.first.vehicle.full_charge_km
        km = unit.metres / 1000.0
        return (
            f"A and {name} are rides of one vehicle: on equal terms it goes "
            f"{number(full.mean / km, 0)} {unit} "
            f"(90 %: {number(full.low90 / km, 0)} to {number(full.high90 / km, 0)} {unit})."
        )
    first, second, log_range, chance = name, "A", pair.log_range, pair.chance
    if log_range.mean < 0.0:
        first, second, chance = "A", name, 1.0 - chance
        log_range = Measure(-log_range.mean, log_range.sd)
    mean, low, high = 100.0 * np.expm1([log_range.mean, log_range.low90, log_range.high90])
    text = (
        f"{first} goes {number(mean, 0)} % farther than {second} on equal terms "
        f"(90 %: {number(low, 0)} to {number(high, 0)} %); chance {chance:.2f}"
    )
    return f"{text}." if chance >= _SURE else f"{text}, which settles nothing."


def _on_the_road(name: str, pair: Pair, unit: DistanceUnit) -> str:
    """How far apart they were as ridden, and the causes that clearly go the same way."""
    difference, per_unit = pair.difference, unit.metres / 1000.0
    way = np.sign(difference.mean) or 1.0
    size = Measure(abs(difference.mean) * per_unit, difference.sd * per_unit)
    clear = [
        cause
        for cause in CAUSES
        if way * pair.by_cause[cause].mean > half_width(pair.by_cause[cause])
    ]
    clear.sort(key=lambda cause: -abs(pair.by_cause[cause].mean))
    named = [CAUSE_WORDS[cause].name for cause in clear[:_MOST_NAMED]]
    mostly = f", mostly for {_listed(named)}" if named else ""
    return (
        f"On the road {name} took {number(size.mean, 1)} Wh/{unit} {'more' if way > 0 else 'less'} "
        f"than A (90 %: {number(size.low90, 1)} to {number(size.high90, 1)})"
        f"{mostly}."
    )


def _listed(names: Sequence[str]) -> str:
    """Names in a sentence: "wind, surface and height"."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _notes(comparison: Comparison) -> Iterable[str]:
    rides = comparison.rides
    for place, ride in enumerate(rides):
        name = letter(place)
        if is_handbook_only(ride.result):
            yield f"{name}: nothing was measured; what stands here of it is the handbook's."
        if not ride.result.estimate.solution.converged:
            yield f"{name}: the estimate did not settle; it may be off by more than it says."
        if ride.pedalled:
            yield f"{name} was pedalled; on equal terms the motor does all the work."
        pushed_m = ride.vehicle.drive.pushed_m
        if pushed_m > 0.0:
            yield f"{name}: on the reference ride it is pushed over {pushed_m:.0f} m of climbs."
    together: dict[int, list[int]] = {}
    for place, ride in enumerate(rides):
        together.setdefault(id(ride.vehicle), []).append(place)
    for places in together.values():
        known = rides[places[0]].vehicle.known.vehicle
        if len(known.rides) > 1:
            listed = ", ".join(letter(place) for place in places)
            yield (
                f"{listed}: {plain(known.name)} is taken as one vehicle, by "
                f"{counted(len(known.rides), 'ride')}. A change to it needs another name."
            )
