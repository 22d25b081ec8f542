"""Where to turn back: the farthest place from which the way home succeeds as surely as asked.

Success is that the charge never falls below the reserve before home is reached. All that is
unknown is drawn together, so that a wind against the way out is behind the way home, and so is
the error of its forecast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem
from wherewatt.ingest.track import Note
from wherewatt.outlook.asked import Request, check, notes_on
from wherewatt.outlook.card import Card, card_of
from wherewatt.outlook.draws import Spread, start_share
from wherewatt.outlook.out_and_home import OutAndHome, out_and_home
from wherewatt.outlook.vehicle import Known, known_on

_MOST_SURE = 0.999  # two thousand draws say nothing of what is rarer


@dataclass(frozen=True, slots=True)
class Turn:
    """A place to turn back.

    Parameters
    ----------
    at_m : distance from the start [m].
    chance : that the way home from there succeeds [1].
    left : share of the usable energy that is left at home [1].
    """

    at_m: float
    chance: float
    left: Spread


@dataclass(frozen=True, slots=True, eq=False)
class Turnback:
    """Where to turn back.

    Parameters
    ----------
    request : what was asked.
    wanted : how sure the way home has to be [1].
    known : the vehicle on that day.
    farthest : the farthest place to turn, not beyond the end of the way.
    to_the_end : True if that is the end of the way.
    even_chance_m : where the way home succeeds as likely as not [m].
    along : some places of the way.
    whole_loop : chance of riding on all the way round [1]; None where the way is no loop.
    card : what to do at which display.
    notes : what a reader has to know.
    """

    request: Request
    wanted: float
    known: Known
    farthest: Turn
    to_the_end: bool
    even_chance_m: float
    along: tuple[Turn, ...]
    whole_loop: float | None
    card: Card
    notes: tuple[Note, ...]


def turn_back(request: Request, wanted: float, every_m: float, config: Config) -> Turnback:
    """Find the farthest place to turn back, and what to write on a card.

    Parameters
    ----------
    request : what is asked; its course is the way out.
    wanted : how sure the way home has to be [1].
    every_m : distance between the rows of the card [m].

    Raises
    ------
    InputError
        If what is asked cannot be.
    """
    check(request)
    check_chance(wanted)
    course, reserve = request.course, request.reserve_pct / 100.0
    known = known_on(request.vehicle, request.day, course.surfaces, config)
    ways = out_and_home(course, request.pace, known, config)
    start = start_share(ways.draws, request.battery_pct, config.estimate)
    have_wh = ways.draws.column("battery_usable_wh") * (start - reserve)
    margin = have_wh[:, None] - ways.need_wh
    place = farthest(ways.at_m, margin, wanted)
    every = np.append(np.arange(0.0, ways.at_m[-1], every_m), ways.at_m[-1])
    return Turnback(
        request=request,
        wanted=wanted,
        known=known,
        farthest=_turn(ways, margin, start, place),
        to_the_end=place >= float(ways.at_m[-1]),
        even_chance_m=farthest(ways.at_m, margin, 0.5),
        along=tuple(_turn(ways, margin, start, at) for at in every.tolist()),
        whole_loop=_whole_loop(ways, have_wh) if course.loop else None,
        card=card_of(ways, every, reserve, wanted, loop=course.loop, settings=config.estimate),
        notes=_notes(request, known, ways, config),
    )


def check_chance(wanted: float) -> None:
    """Refuse a chance that nobody can promise, and one that nobody should want.

    Raises
    ------
    InputError
        If so.
    """
    if not 0.5 <= wanted <= _MOST_SURE:
        found, expected = f"{100.0 * wanted:g} %", f"50 to {100.0 * _MOST_SURE:g} %"
        raise InputError(Problem("--chance", "", found, expected))


def farthest(at_m: FloatArray, margin: FloatArray, wanted: float) -> float:
    """The farthest place before which the margin is never too likely to be below zero [m].

    Parameters
    ----------
    at_m : (m,) places, in order.
    margin : (d, m) what is left above what is needed, in every draw.
    wanted : how likely it has to be no less than zero [1].
    """
    least = np.quantile(margin, 1.0 - wanted, axis=0)
    short = np.flatnonzero(least < 0.0)
    if not len(short):
        return float(at_m[-1])
    first = int(short[0])
    if first == 0:
        return float(at_m[0])
    before, after = float(least[first - 1]), float(least[first])
    step = float(at_m[first] - at_m[first - 1])
    return float(at_m[first - 1]) + step * before / (before - after)


def _turn(ways: OutAndHome, margin: FloatArray, start: FloatArray, at_m: float) -> Turn:
    place = np.array([at_m])
    used = ways.at(place, ways.out_wh + ways.home_wh + ways.start_wh)[:, 0]
    left = start - used / ways.draws.column("battery_usable_wh")
    chance = float(np.mean(ways.at(place, margin)[:, 0] >= 0.0))
    return Turn(at_m, chance, Spread.of(left))


def _whole_loop(ways: OutAndHome, energy_wh: FloatArray) -> float:
    return float(np.mean(energy_wh >= ways.out_wh.max(axis=1)))


def _notes(request: Request, known: Known, ways: OutAndHome, config: Config) -> tuple[Note, ...]:
    notes = [*request.course.notes, *notes_on(request, known, ways.demand.drive, config)]
    if request.reserve_pct < config.outlook.reserve_pct:
        message = (
            f"a reserve of {request.reserve_pct:g} % is thin: near empty the display falls fast, "
            "and the pack may switch off on a climb or a start"
        )
        notes.append(Note("thin-reserve", message))
    return tuple(notes)
