"""How far, and what is left: the prediction of a ride of a known vehicle."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.ingest.track import Note
from wherewatt.outlook.asked import Request, check, check_reached, notes_on
from wherewatt.outlook.demand import Demand, demand_of
from wherewatt.outlook.draws import (
    Draws,
    Spread,
    Used,
    draw,
    reach_m,
    shown_pct,
    start_share,
    used_by,
)
from wherewatt.outlook.scenario import Scenario
from wherewatt.outlook.vehicle import Known, known_on


class Change(StrEnum):
    """A change of which the table says what it is worth."""

    MASS = "mass"
    SPEED = "speed"
    HEADWIND = "headwind"
    SURFACE = "surface"


@dataclass(frozen=True, slots=True)
class Worth:
    """What a change is worth.

    Parameters
    ----------
    change : which one; its size stands in the settings.
    wh_per_km : how much more the ride takes [Wh/km].
    range_m : how much farther a full charge goes [m]; mostly negative.
    """

    change: Change
    wh_per_km: Spread
    range_m: Spread


@dataclass(frozen=True, slots=True)
class Mark:
    """The charge at one place of the course.

    Parameters
    ----------
    at_m : distance from the start [m].
    time_s : time since the start [s].
    left : share of the usable energy that is left [1]; below zero it did not last.
    shown_pct : what a display shows there at rest [%].
    """

    at_m: float
    time_s: float
    left: Spread
    shown_pct: Spread


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """A ride that nobody has ridden yet.

    Parameters
    ----------
    request : what was asked.
    known : the vehicle on that day.
    duration_s : time under way, stops included [s].
    wh_per_km : consumption on the course [Wh/km].
    full_range_m : distance on a full charge, the course again and again, or there and back [m].
    range_m : the same from the charge there is down to the reserve [m].
    along : the charge along the course.
    chance : that no less than the reserve is left at the end [1].
    worth : what changes are worth.
    notes : what a reader has to know.
    """

    request: Request
    known: Known
    duration_s: float
    wh_per_km: Spread
    full_range_m: Spread
    range_m: Spread
    along: tuple[Mark, ...]
    chance: float
    worth: tuple[Worth, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Drawn:
    """A scenario in every draw: consumption [Wh/km] and range of a full charge [m], each (d,)."""

    demand: Demand
    used: Used
    wh_per_km: FloatArray
    full_range_m: FloatArray


def predict(request: Request, every_m: float, config: Config) -> Prediction:
    """Predict a ride.

    Parameters
    ----------
    request : what is asked.
    every_m : distance between the places of the table along the course [m].

    Raises
    ------
    InputError
        If what is asked cannot be, or the charge does not last for the course.
    """
    check(request)
    course, settings = request.course, config.outlook
    surfaces = (*course.surfaces, settings.other_surface)
    known = known_on(request.vehicle, request.day, surfaces, config)
    known = known.narrowed(settings.spread_share)
    scenario = Scenario(course.lap(), request.pace)
    demand = demand_of(scenario, known, config)
    draws = draw(known, len(demand.stretches.spread), settings)
    base = _drawn(draws, demand, course.length_m, config)
    capacity = draws.column("battery_usable_wh")
    start = start_share(draws, request.battery_pct, config.estimate)
    check_reached(request, Spread.of(reach_m(base.used, capacity * start)))
    along = tuple(_marks(draws, base.used, start, course.length_m, every_m))
    reserve = request.reserve_pct / 100.0
    at_end = start - base.used.up_to(np.array([course.length_m]))[:, 0] / capacity
    return Prediction(
        request=request,
        known=known,
        duration_s=along[-1].time_s,
        wh_per_km=Spread.of(base.wh_per_km),
        full_range_m=Spread.of(base.full_range_m),
        range_m=Spread.of(reach_m(base.used, capacity * (start - reserve))),
        along=along,
        chance=float(np.mean(at_end >= reserve)),
        worth=tuple(_worth(scenario, base, draws, course.length_m, config)),
        notes=(*course.notes, *notes_on(request, known, demand.drive, config)),
    )


def _drawn(draws: Draws, demand: Demand, length_m: float, config: Config) -> _Drawn:
    used = used_by(draws, demand, config.outlook)
    per_km = used.up_to(np.array([length_m]))[:, 0] / (length_m / 1000.0)
    return _Drawn(demand, used, per_km, reach_m(used, draws.column("battery_usable_wh")))


def _marks(
    draws: Draws, used: Used, start: FloatArray, length_m: float, every_m: float
) -> Iterator[Mark]:
    """The charge at even distances, and at the end."""
    at = np.arange(0.0, length_m, every_m)
    if len(at) > 1 and length_m - at[-1] < every_m / 4.0:
        at = at[:-1]
    at = np.append(at, length_m)
    left = start[:, None] - used.up_to(at) / draws.column("battery_usable_wh")[:, None]
    shown = shown_pct(draws, left)
    time = np.interp(at, used.at_m, used.time_s)
    for number, place in enumerate(at.tolist()):
        yield Mark(
            place, float(time[number]), Spread.of(left[:, number]), Spread.of(shown[:, number])
        )


def _worth(
    scenario: Scenario, base: _Drawn, draws: Draws, length_m: float, config: Config
) -> Iterator[Worth]:
    """What each change is worth, draw by draw."""
    for change, changed in _changes(scenario, config):
        demand = demand_of(changed, draws.known, config)
        other = _drawn(draws, demand, length_m, config)
        farther = np.isfinite(base.full_range_m) & np.isfinite(other.full_range_m)
        if farther.any():
            gained = other.full_range_m[farther] - base.full_range_m[farther]
            yield Worth(change, Spread.of(other.wh_per_km - base.wh_per_km), Spread.of(gained))


def _changes(scenario: Scenario, config: Config) -> Iterator[tuple[Change, Scenario]]:
    settings, pace = config.outlook, scenario.pace
    faster = replace(pace, top_speed_m_s=pace.top_speed_m_s + settings.more_speed_m_s)
    yield Change.MASS, replace(scenario, more_mass_kg=settings.more_mass_kg)
    yield Change.SPEED, replace(scenario, pace=faster)
    yield Change.HEADWIND, replace(scenario, more_headwind_m_s=settings.more_headwind_m_s)
    if scenario.course.surfaces != (settings.other_surface,):
        elsewhere = scenario.course.on(settings.other_surface)
        yield Change.SURFACE, replace(scenario, course=elsewhere)
