"""How speed changes over one cell of a course: what the rider wants and the motor carries.

All work on the squared speed, which changes evenly along the way under an even force. What the
motor's power cannot carry is found from the balance of the whole cell at its mean speed:

    (½·m·(v₁² − v₀²) + R·Δs) = min(P/v, F)·Δs      with v = (v₀ + v₁)/2
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from wherewatt.outlook.settings import Pace

_HALVINGS = 30  # of the speeds between walking and the one wanted: to a nanometre a second


@dataclass(frozen=True, slots=True)
class Limits:
    """What rider and motor allow.

    Parameters
    ----------
    acceleration_m_s2, deceleration_m_s2 : comfortable [m/s²].
    power_w, force_n : the most there is at the wheel, the rider's pedalling included [W], [N].
    walk_m_s : the least speed; below it the vehicle is pushed [m/s].
    inertia_kg : mass and what turns with the wheels [kg].
    """

    acceleration_m_s2: float
    deceleration_m_s2: float
    power_w: float
    force_n: float
    walk_m_s: float
    inertia_kg: float

    @classmethod
    def of(cls, pace: Pace, values: Mapping[str, float], rotating_mass_kg: float) -> Limits:
        """Those of a pace and a vehicle."""
        return cls(
            acceleration_m_s2=pace.acceleration_m_s2,
            deceleration_m_s2=pace.deceleration_m_s2,
            power_w=pace.wheel_power_w + values.get("pedal_power_w", 0.0),
            force_n=pace.wheel_force_n,
            walk_m_s=pace.walk_m_s,
            inertia_kg=values["mass_kg"] + rotating_mass_kg,
        )

    def force_at(self, speed_m_s: float) -> float:
        """The greatest force at the wheel at a speed [N]."""
        return min(self.force_n, self.power_w / max(speed_m_s, 1e-9))


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell as it meets the vehicle.

    Parameters
    ----------
    length_m : its length [m].
    cruise_m_s, ceiling_m_s : speed held, and the speed to which a descent may carry [m/s].
    steady_n : rolling resistance and weight along the road [N].
    drag_kg_m : half of density times drag area [kg/m].
    headwind_m_s, crosswind_m_s : wind against the direction of travel, and across it [m/s].
    """

    length_m: float
    cruise_m_s: float
    ceiling_m_s: float
    steady_n: float
    drag_kg_m: float
    headwind_m_s: float
    crosswind_m_s: float = 0.0

    def resistance_n(self, speed_m_s: float) -> float:
        """All that holds the vehicle back at a speed [N]; negative where it is pulled."""
        through_air = speed_m_s + self.headwind_m_s
        flow = math.hypot(through_air, self.crosswind_m_s)
        return self.steady_n + self.drag_kg_m * through_air * flow


@dataclass(frozen=True, slots=True)
class Knot:
    """Squared speed [m²/s²] at a distance into a cell [m]."""

    at_m: float
    square: float


@dataclass(frozen=True, slots=True)
class Passage:
    """The knots of a cell's speed after its entry, the last at its end; whether it was pushed."""

    knots: tuple[Knot, ...]
    pushed: bool = False


def pass_through(cell: Cell, limits: Limits, entry: float, most: float) -> Passage:
    """Speed through a cell.

    Parameters
    ----------
    entry : squared speed at its start [m²/s²].
    most : squared speed at its end that braking allows [m²/s²].
    """
    driven = _driven(cell, limits, entry)
    start = Knot(0.0, entry)
    knots = _braked((start, *driven.knots), cell.length_m, most, limits.deceleration_m_s2)
    return Passage(knots, driven.pushed)


def _driven(cell: Cell, limits: Limits, entry: float) -> Passage:
    """Speed through a cell without regard to what comes behind it."""
    cruise = cell.cruise_m_s**2
    pull = 2.0 * limits.acceleration_m_s2
    reach = min(max(0.0, (cruise - entry) / pull), cell.length_m)
    square = entry + pull * reach
    if reach > 0.0:
        speed = math.sqrt(square)
        needed = cell.resistance_n(speed) + limits.inertia_kg * limits.acceleration_m_s2
        if needed > limits.force_at(speed):
            return _carried(cell, limits, entry, speed)
    if reach >= cell.length_m:
        return Passage((Knot(cell.length_m, square),))
    reached = (Knot(reach, square),) if reach > 0.0 else ()
    rest = _rest(cell, limits, Knot(reach, square))
    if rest is None:
        return _carried(cell, limits, entry, math.sqrt(square))
    return Passage((*reached, *rest))


def _rest(cell: Cell, limits: Limits, start: Knot) -> tuple[Knot, ...] | None:
    """From the speed held, or above it: roll, then hold; None if the motor cannot hold it."""
    cruise, end = cell.cruise_m_s**2, cell.length_m
    drop = 2.0 * cell.resistance_n(math.sqrt(start.square)) / limits.inertia_kg
    free = start.square - drop * (end - start.at_m)
    if free >= cruise:
        return (Knot(end, max(cruise, min(free, cell.ceiling_m_s**2))),)
    if cell.resistance_n(cell.cruise_m_s) > limits.force_at(cell.cruise_m_s):
        return None
    if start.square > cruise and drop > 0.0:
        held = start.at_m + (start.square - cruise) / drop
        return (Knot(held, cruise), Knot(end, cruise))
    return (Knot(end, cruise),)


def _carried(cell: Cell, limits: Limits, entry: float, wanted_m_s: float) -> Passage:
    """Speed at the end that the motor's power carries, by halving; never below walking pace."""
    first = math.sqrt(entry)

    def lacking(last: float) -> float:
        mean = (first + last) / 2.0
        held = cell.resistance_n(mean) - limits.force_at(mean)
        return 0.5 * limits.inertia_kg * (last * last - entry) + held * cell.length_m

    low, high = min(limits.walk_m_s, wanted_m_s), wanted_m_s
    if lacking(low) > 0.0:
        return Passage((Knot(cell.length_m, low * low),), pushed=True)
    if lacking(high) <= 0.0:
        return Passage((Knot(cell.length_m, high * high),))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if lacking(middle) > 0.0 else (middle, high)
    return Passage((Knot(cell.length_m, low * low),))


def _braked(
    knots: tuple[Knot, ...], end_m: float, most: float, deceleration_m_s2: float
) -> tuple[Knot, ...]:
    """The knots after the first, cut off where braking for the end of the cell begins."""
    per_m = 2.0 * deceleration_m_s2
    kept: list[Knot] = []
    for before, after in pairwise(knots):
        if after.square <= most + per_m * (end_m - after.at_m) + 1e-12:
            kept.append(after)
            continue
        slope = (after.square - before.square) / (after.at_m - before.at_m)
        allowed = most + per_m * (end_m - before.at_m)
        brake_at = before.at_m + max(0.0, allowed - before.square) / (slope + per_m)
        if brake_at > before.at_m:
            kept.append(Knot(brake_at, most + per_m * (end_m - brake_at)))
        return (*kept, Knot(end_m, most))
    return tuple(kept)
