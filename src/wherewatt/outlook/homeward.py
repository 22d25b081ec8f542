"""During a ride: whether there is enough to get home, and how fast it may be.

The ride so far is estimated as any ride is. What that says of this very day, of its wind and of
what is left in the pack goes on to the way home with all correlations: who has used more than
expected has less left and will use more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.parameters import Parameter, Parameters, ratio_name, ride_parameters
from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.ingest.track import Note
from wherewatt.outlook.course import Course
from wherewatt.outlook.demand import demand_of
from wherewatt.outlook.draws import Draws, Spread, used_by
from wherewatt.outlook.plans import recorded_course
from wherewatt.outlook.ridden_pace import ridden_pace
from wherewatt.outlook.scenario import Scenario
from wherewatt.outlook.settings import Pace
from wherewatt.outlook.turnback import check_chance, farthest
from wherewatt.outlook.vehicle import Day, Known, symmetric_root, vehicle_of
from wherewatt.report.result import RideResult
from wherewatt.report.wording import HANDBOOK_ONLY

_OLD_CALL_OUT_M = 2000.0  # some percent of charge
_SPEEDS_SHOWN = 6


@dataclass(frozen=True, slots=True)
class SpeedChance:
    """The way home at one top speed.

    Parameters
    ----------
    top_speed_m_s : held on a good level road [m/s].
    chance : that home is reached above the reserve [1].
    time_s : time to home, stops included [s].
    left : share of the usable energy left at home [1].
    sure_m : how far along the way home the charge lasts as surely as asked [m].
    """

    top_speed_m_s: float
    chance: float
    time_s: float
    left: Spread
    sure_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Homeward:
    """The way home from where a ride is now.

    Parameters
    ----------
    result : the ride so far.
    course : the way home.
    back_along : True if that is the way the ride came.
    reserve_pct, wanted : charge that is to be left [%], and how surely [1].
    left : share of the usable energy that is left now [1].
    present : at the pace of the ride.
    best : the fastest that is as sure as asked, or else the surest.
    speeds : some speeds, the fastest first.
    notes : what a reader has to know.
    """

    result: RideResult
    course: Course
    back_along: bool
    reserve_pct: float
    wanted: float
    left: Spread
    present: SpeedChance
    best: SpeedChance
    speeds: tuple[SpeedChance, ...]
    notes: tuple[Note, ...]

    @property
    def enough(self) -> bool:
        """True if there is a pace at which home is as sure as asked."""
        return self.best.chance >= self.wanted


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """What is asked of the way home.

    Parameters
    ----------
    course : the way home; None for back along the ride.
    pace : with a top speed that is given; None for that of the ride.
    reserve_pct, chance : charge that is to be left [%], and how surely [1].
    speed_step_m_s : speeds are tried in these steps [m/s].
    """

    course: Course | None
    pace: Pace | None
    reserve_pct: float
    chance: float
    speed_step_m_s: float


def homeward(result: RideResult, wanted: Wanted, config: Config) -> Homeward:
    """Find whether a ride gets home, and how fast it may be.

    Raises
    ------
    InputError
        If what is asked cannot be.
    """
    check_chance(wanted.chance)
    so_far = recorded_course(result, config.outlook)
    course = so_far.reversed() if wanted.course is None else wanted.course
    pace = wanted.pace or ridden_pace(result, config)
    if wanted.course is not None and not len(course.stops_m):
        course = course.with_stops(pace.stops_per_km)
    now = _now(result, course, config)
    present, best, speeds = _tried(now, Scenario(course, pace), wanted, config)
    return Homeward(
        result=result,
        course=course,
        back_along=wanted.course is None,
        reserve_pct=wanted.reserve_pct,
        wanted=wanted.chance,
        left=Spread.of(now.left_wh / now.capacity_wh),
        present=present,
        best=best,
        speeds=speeds,
        notes=tuple(_notes(result, so_far, wanted, now, config)),
    )


def _tried(
    now: _Now, scenario: Scenario, wanted: Wanted, config: Config
) -> tuple[SpeedChance, SpeedChance, tuple[SpeedChance, ...]]:
    """The way home at the present pace and at the best one, and at a few to be shown."""
    pace = scenario.pace
    tried: dict[float, SpeedChance] = {}

    def at(top_speed_m_s: float) -> SpeedChance:
        if top_speed_m_s not in tried:
            trial = replace(scenario, pace=replace(pace, top_speed_m_s=top_speed_m_s))
            tried[top_speed_m_s] = _way_home(now, trial, wanted, config)
        return tried[top_speed_m_s]

    present, slower = at(pace.top_speed_m_s), _slower(pace, wanted.speed_step_m_s)
    best: SpeedChance | None = present
    if present.chance < wanted.chance:
        best = next((at(speed) for speed in slower if at(speed).chance >= wanted.chance), None)
    if best is None:  # none is as sure as asked: the surest
        best = max(tried.values(), key=lambda one: (one.chance, one.sure_m))
    shown = {present.top_speed_m_s, best.top_speed_m_s, *_some(slower)}
    return present, best, tuple(at(speed) for speed in sorted(shown, reverse=True))


def _slower(pace: Pace, step_m_s: float) -> list[float]:
    """Whole steps of speed below that of the pace, the fastest first, down to walking."""
    least = int(np.floor(pace.walk_m_s / step_m_s)) + 1
    most = int(np.ceil(pace.top_speed_m_s / step_m_s - 0.5)) - 1
    return [number * step_m_s for number in range(most, least - 1, -1)]


def _some(speeds: list[float]) -> list[float]:
    """A few of some speeds, from the fastest to the slowest."""
    places = np.linspace(0.0, len(speeds) - 1.0, min(len(speeds), _SPEEDS_SHOWN))
    return [speeds[round(place)] for place in places.tolist()]


@dataclass(frozen=True, slots=True, eq=False)
class _Now:
    """Where a ride is now, in d draws.

    Parameters
    ----------
    known : the parameters of this day; most probable values and covariance.
    scores : (d, p) of the parameters.
    left_wh, capacity_wh : (d,) energy left above empty, and from full to empty [Wh].
    rng_seed : of what is drawn besides.
    """

    known: Known
    scores: FloatArray
    left_wh: FloatArray
    capacity_wh: FloatArray
    seed: int


def _now(result: RideResult, course: Course, config: Config) -> _Now:
    """What the ride so far says of this day and of the charge, drawn together."""
    estimate, p = result.estimate, len(result.estimate.evidence.parameters)
    known = _known(result, course, config)
    settings = config.outlook
    more = len(known.parameters) - p
    rng = np.random.default_rng(settings.seed)
    scores, covariance = estimate.solution.scores, estimate.solution.covariance
    half = rng.standard_normal((settings.draws // 2, len(scores) + more))
    normal = np.concatenate([half, -half])
    off = normal[:, : len(scores)] @ symmetric_root(covariance)
    drawn = np.hstack([scores[:p] + off[:, :p], normal[:, len(scores) :]])
    draws = Draws(known, drawn, np.zeros((len(drawn), 0)), np.zeros(len(drawn)))
    energy = estimate.cell_energy
    used = energy.wh.sum() + off @ energy.slopes.sum(axis=0)
    capacity, start = draws.column("battery_usable_wh"), draws.column("start_charge")
    # No pack starts fuller than full; a draw to first order may.
    left = capacity * np.minimum(start, 1.0) - used
    return _Now(known, drawn, np.maximum(left, 0.0), capacity, settings.seed)


def _known(result: RideResult, course: Course, config: Config) -> Known:
    """Parameters of this day, and those of surfaces that only the way home has."""
    estimate, sheet = result.estimate, result.recording.sheet
    own = estimate.evidence.parameters
    p, p_new = len(own), _new_surfaces(estimate, course, result, config)
    covariance = np.eye(p + len(p_new))
    covariance[:p, :p] = estimate.solution.covariance[:p, :p]
    return Known(
        vehicle=vehicle_of(result),
        day=Day(sheet.rider.mass_kg, sheet.weather),
        parameters=Parameters((*own.items, *p_new)),
        scores=np.concatenate([estimate.solution.scores[:p], np.zeros(len(p_new))]),
        covariance=covariance,
    )


def _new_surfaces(
    estimate: Estimate, course: Course, result: RideResult, config: Config
) -> tuple[Parameter, ...]:
    missing = [
        ratio_name(name)
        for name in course.surfaces
        if ratio_name(name) not in estimate.evidence.parameters.index
    ]
    if not missing:
        return ()
    priors = ride_parameters(
        result.recording.sheet,
        course.surfaces,
        priors=config.priors,
        surface_priors=config.surfaces,
        assumed=config.assumed,
        settings=config.estimate,
        pedalling_unknown=False,
    )
    return tuple(priors.items[priors.index[name]] for name in missing)


def _way_home(now: _Now, scenario: Scenario, wanted: Wanted, config: Config) -> SpeedChance:
    """The way home at one pace; every pace meets the same draws."""
    demand = demand_of(scenario, now.known, config)
    rng = np.random.default_rng([now.seed, 1])
    half = rng.standard_normal((len(now.scores) // 2, len(demand.stretches.spread)))
    stretch = np.concatenate([half, -half])
    draws = Draws(now.known, now.scores, stretch, np.zeros(len(now.scores)))
    used = used_by(draws, demand.in_any_wind(), config.outlook)
    reserve = wanted.reserve_pct / 100.0 * now.capacity_wh
    margin = (now.left_wh - reserve)[:, None] - np.maximum.accumulate(used.wh, axis=1)
    return SpeedChance(
        top_speed_m_s=scenario.pace.top_speed_m_s,
        chance=float(np.mean(margin[:, -1] >= 0.0)),
        time_s=demand.drive.duration_s,
        left=Spread.of((now.left_wh - used.wh[:, -1]) / now.capacity_wh),
        sure_m=farthest(used.at_m, margin, wanted.chance),
    )


def _notes(
    result: RideResult, so_far: Course, wanted: Wanted, now: _Now, config: Config
) -> list[Note]:
    notes = list(result.notes)
    if any(note.code == HANDBOOK_ONLY for note in notes):
        message = "no call-out: what is left in the pack is a guess; read the display now"
        notes.insert(0, Note("charge-unknown", message))
    elif (old := _since_call_out_m(result)) > _OLD_CALL_OUT_M:
        message = f"the last call-out is {old / 1000.0:.1f} km old: read the display again"
        notes.append(Note("old-call-out", message))
    if wanted.course is None and so_far.loop:
        message = (
            "the ride is near its start already, and home is taken as back along all of it: "
            "say another way with --home"
        )
        notes.append(Note("near-start", message))
    if float(np.median(now.left_wh / now.capacity_wh)) < wanted.reserve_pct / 100.0:
        message = "the pack is below the reserve now: charge, or push"
        notes.append(Note("below-reserve", message))
    low = 100.0 * float(np.median(now.left_wh / now.capacity_wh))
    if low < config.estimate.near_empty_pct:
        message = "near empty a display falls fast, and the pack may switch off under load"
        notes.append(Note("near-empty", message))
    return notes


def _since_call_out_m(result: RideResult) -> float:
    """Way since the last call-out [m]."""
    evidence = result.estimate.evidence
    at = np.concatenate([evidence.shown.time_s, evidence.voltage.time_s])
    ride = result.ride
    if not len(at):
        return 0.0
    return float(ride.distance_m[-1] - np.interp(at.max(), ride.time_s, ride.distance_m))
