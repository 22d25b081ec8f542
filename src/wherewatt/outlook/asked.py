"""What is asked of a prediction, whether it can be, and what has to be said about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.config import Config
from wherewatt.errors import InputError, Problem
from wherewatt.ingest.track import Note
from wherewatt.outlook.course import Course
from wherewatt.outlook.draws import Spread
from wherewatt.outlook.drive import Drive
from wherewatt.outlook.settings import Pace
from wherewatt.outlook.vehicle import Day, Known, Vehicle
from wherewatt.sections.surface import UNTAGGED
from wherewatt.text import counted

_TOLD_LITTLE = 0.005  # share of the way without a surface that is not worth a word


@dataclass(frozen=True, slots=True, eq=False)
class Request:
    """What is asked.

    Parameters
    ----------
    vehicle, day : whose, and of which day.
    course : with its stops.
    to_the_end : True if the course is to be ridden, rather than taken as an example.
    pace : how the rider rides.
    battery_pct : what the display shows before setting out [%]; None for freshly charged.
    reserve_pct : charge that is to be left [%].
    """

    vehicle: Vehicle
    day: Day
    course: Course
    to_the_end: bool
    pace: Pace
    battery_pct: float | None
    reserve_pct: float


def check(request: Request) -> None:
    """Refuse what cannot be, whatever the vehicle.

    Raises
    ------
    InputError
        One problem for each thing.
    """
    problems = []
    charge = 100.0 if request.battery_pct is None else request.battery_pct
    if request.reserve_pct >= charge:
        found = f"{request.reserve_pct:g} %"
        problems.append(
            Problem("--reserve", "", found, f"less than the charge of {charge:g} %", "charge first")
        )
    if request.pace.top_speed_m_s <= request.pace.walk_m_s:
        found = f"{3.6 * request.pace.top_speed_m_s:.1f} km/h"
        expected = f"more than walking pace, {3.6 * request.pace.walk_m_s:.1f} km/h"
        problems.append(Problem("--top-speed-kmh", "", found, expected))
    if problems:
        raise InputError(*problems)


def check_reached(request: Request, reach: Spread) -> None:
    """Refuse a course that the charge more likely than not does not last for.

    Raises
    ------
    InputError
        If so, saying how far it lasts.
    """
    length = request.course.length_m
    if not request.to_the_end or reach.median >= length:
        return
    charge = "a full charge" if request.battery_pct is None else f"{request.battery_pct:g} %"
    low, high, median = (value / 1000.0 for value in (reach.low90, reach.high90, reach.median))
    expected = (
        f"no more than {charge} is likely to last for: {median:.1f} km "
        f"(90 % interval {low:.1f} to {high:.1f} km)"
    )
    mend = "charge on the way, choose a shorter one, or ride slower"
    raise InputError(
        Problem(request.course.name, "", f"a course of {length / 1000.0:.1f} km", expected, mend)
    )


def notes_on(request: Request, known: Known, ridden: Drive, config: Config) -> list[Note]:
    """What a reader of the numbers has to know."""
    vehicle, sheet = request.vehicle, request.vehicle.sheet
    notes = []
    if not vehicle.rides:
        message = "no ride of this vehicle is known: every number is the handbook's"
        notes.append(Note("handbook-only", message))
    else:
        message = f"starts from what {counted(len(vehicle.rides), 'ride')} of {vehicle.name} said"
        notes.append(Note("vehicle-known", message))
    if vehicle.without_sheets:
        message = (
            "its rides were kept without their ride sheets: report one of them again, so that "
            "masses and battery are known"
        )
        notes.append(Note("no-sheets", message))
    if sheet.battery_nominal_wh is None and sheet.battery_usable_wh is None:
        message = "the energy of the pack is not known: state it with --battery-wh"
        notes.append(Note("battery-unknown", message))
    if request.day.rider_mass_kg is None:
        mass = config.priors["rider_mass_kg"]
        message = (
            f"the rider's mass is not known: {mass.center:.0f} ± {mass.spread:.0f} kg is taken"
        )
        notes.append(Note("rider-unknown", message))
    return [*notes, *_notes_on_course(request, known, ridden, config)]


def _notes_on_course(request: Request, known: Known, ridden: Drive, config: Config) -> list[Note]:
    notes = []
    course = ridden.course
    metres = course.cell_m
    untagged = np.array([name == UNTAGGED for name in course.surfaces])[course.surface]
    share = float(metres[untagged].sum() / metres.sum())
    if share > _TOLD_LITTLE:
        message = f"{100 * share:.0f} % of the way has no surface tag: its prior is wide"
        notes.append(Note("untagged-surface", message))
    if ridden.pushed_m > 0.0:
        message = (
            f"the motor does not carry {ridden.pushed_m:.0f} m of the way even at walking pace: "
            "they are counted as ridden at that"
        )
        notes.append(Note("too-steep", message))
    weather = known.day.weather
    colder = config.assumed.handbook_c - (weather.temperature_c or config.assumed.handbook_c)
    if colder > 20.0:
        message = "a cold pack holds less, and how much less is poorly known"
        notes.append(Note("cold-pack", message))
    return notes
