"""The hill test: what each passage of a hill took, and whether one more fits in what is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.ledger import Measure
from wherewatt.allocate.loads import CAUSES, leg_loads
from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem
from wherewatt.outlook.contributions import Ridden, as_ridden
from wherewatt.outlook.hills import Hill, Passage, passages
from wherewatt.outlook.ridden_pace import power_over
from wherewatt.outlook.turnback import check_chance
from wherewatt.report.result import RideResult
from wherewatt.units import JOULES_PER_WATT_HOUR, STANDARD_GRAVITY_M_S2

WINDOW_S = 10.0  # over which the greatest power is a mean
_MOST_MORE = 99  # passages that are counted
_STEP = 1e-4  # of a score, for derivatives by differences


@dataclass(frozen=True, slots=True, eq=False)
class Slope:
    """An energy [Wh] with its derivatives (u,) by the unknowns of the ride."""

    wh: float
    slopes: FloatArray

    def measure(self, covariance: FloatArray) -> Measure:
        """With its standard deviation."""
        variance = float(self.slopes @ covariance @ self.slopes)
        return Measure(self.wh, float(np.sqrt(max(0.0, variance))))


@dataclass(frozen=True, slots=True, eq=False)
class HillPassage:
    """One passage over a hill.

    Parameters
    ----------
    upward : whether it went up.
    start_m, start_s : where and when it began [m], [s].
    duration_s, standing_s : time from end to end, and of that at a stand [s].
    distance_m, rise_m : its length, and height gained [m].
    energy : from the battery [Wh]; below zero it was charged.
    mean_w, greatest_w : power from the battery: mean, and the greatest over ten seconds [W].
    returned : energy that braking put back [Wh]; None without regenerative braking.
    """

    upward: bool
    start_m: float
    start_s: float
    duration_s: float
    standing_s: float
    distance_m: float
    rise_m: float
    energy: Measure
    mean_w: float
    greatest_w: float
    returned: Measure | None

    @property
    def speed_m_s(self) -> float:
        """Mean speed, stops included [m/s]."""
        return self.distance_m / self.duration_s


@dataclass(frozen=True, slots=True, eq=False)
class HillTest:
    """A hill, its passages, and how many more there are.

    Parameters
    ----------
    result : the ride.
    hill : the hill.
    passages : in order.
    recovered : share of the energy of the way up that braking puts back on the way down [1];
        None without regenerative braking or without both ways.
    left_wh : energy that is left at the end of the ride, above empty [Wh].
    reserve_pct, wanted : charge that is to be left [%], and how surely [1].
    next_wh : energy of one more passage, up and down where both were ridden [Wh].
    chance_next : that one more fits above the reserve [1].
    more : how many more fit as surely as asked.
    both_ways : True if up and down were ridden.
    """

    result: RideResult
    hill: Hill
    passages: tuple[HillPassage, ...]
    recovered: Measure | None
    left_wh: Measure
    reserve_pct: float
    wanted: float
    next_wh: Measure
    chance_next: float
    more: int
    both_ways: bool


def hill_test(
    result: RideResult, hill: Hill, reserve_pct: float, wanted: float, config: Config
) -> HillTest:
    """Measure a hill.

    Raises
    ------
    InputError
        If the ride does not pass it from end to end.
    """
    check_chance(wanted)
    found = passages(result, hill, config)
    if not found:
        problem = Problem(
            result.name,
            "",
            f"no passage over all of {hill.name}",
            "one at least",
            "try --from, --to",
        )
        raise InputError(problem)
    estimate = result.estimate
    ridden, covariance = as_ridden(estimate), estimate.solution.covariance
    all_of_it = [_Taken.on(estimate, ridden, passage) for passage in found]
    up, down = ([of for of in all_of_it if of.upward is way] for way in (True, False))
    ways = [way for way in (up, down) if way]
    following = _sum([_mean([of.energy for of in way]) for way in ways])
    again = float(np.sqrt(sum(np.mean([of.again_wh2 for of in way]) for way in ways)))
    left = _left(estimate)
    chances = _chances(left, following, again, estimate, reserve_pct)
    enough = np.flatnonzero(chances < wanted)
    return HillTest(
        result=result,
        hill=hill,
        passages=tuple(
            _passage(result, passage, of) for passage, of in zip(found, all_of_it, strict=True)
        ),
        recovered=_recovered(up, down, covariance),
        left_wh=left.measure(covariance),
        reserve_pct=reserve_pct,
        wanted=wanted,
        next_wh=Measure(following.wh, float(np.hypot(following.measure(covariance).sd, again))),
        chance_next=float(chances[0]),
        more=int(enough[0]) if len(enough) else _MOST_MORE,
        both_ways=len(ways) == 2,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Taken:
    """What a passage took.

    Parameters
    ----------
    upward : whether it went up.
    energy, returned : from the battery; put back by braking, None without regenerative braking.
    again_wh2 : variance from one time to the next: each stretch has its own factor [Wh²].
    """

    upward: bool
    energy: Slope
    returned: Slope | None
    again_wh2: float

    @classmethod
    def on(cls, estimate: Estimate, ridden: Ridden, passage: Passage) -> _Taken:
        """On one passage of a ride."""
        inside = slice(passage.first, passage.end)
        leg_wh = estimate.loads.battery_j[inside] * ridden.factor[inside] / JOULES_PER_WATT_HOUR
        off = np.bincount(ridden.stretch[inside], weights=leg_wh * ridden.stretch_spread[inside])
        return cls(
            passage.upward,
            _energy(estimate, ridden, passage),
            _returned(estimate, ridden, passage),
            float(off @ off),
        )


def _passage(result: RideResult, passage: Passage, taken: _Taken) -> HillPassage:
    ride, height, covariance = result.ride, result.height_m, result.estimate.solution.covariance
    inside = slice(passage.first, passage.end)
    time = ride.time_s[passage.first : passage.end + 1]
    joules = result.ledger.leg_wh[:, inside].sum(axis=0) * JOULES_PER_WATT_HOUR
    duration = float(time[-1] - time[0])
    return HillPassage(
        upward=passage.upward,
        start_m=float(ride.distance_m[passage.first]),
        start_s=float(time[0]),
        duration_s=duration,
        standing_s=float(ride.leg_time_s[inside][ride.standing[inside]].sum()),
        distance_m=float(ride.distance_m[passage.end] - ride.distance_m[passage.first]),
        rise_m=float(height[passage.end] - height[passage.first]),
        energy=taken.energy.measure(covariance),
        mean_w=taken.energy.wh * JOULES_PER_WATT_HOUR / duration,
        greatest_w=float(power_over(time, joules, WINDOW_S).max()),
        returned=taken.returned.measure(covariance) if taken.returned else None,
    )


def _energy(estimate: Estimate, ridden: Ridden, passage: Passage) -> Slope:
    """Battery energy of a passage and its derivatives."""
    inside = slice(passage.first, passage.end)
    weight = np.zeros(len(ridden.factor))
    weight[inside] = ridden.factor[inside] / JOULES_PER_WATT_HOUR
    loads, parameters = estimate.loads, estimate.evidence.parameters
    slopes = np.zeros(len(estimate.solution.scores))
    for name, slope in parameters.slopes(estimate.solution.scores).items():
        if name in loads.slopes:
            slopes[parameters.index[name]] = slope * float(weight @ loads.slopes[name])
    leg_wh = weight * loads.battery_j
    slopes += np.bincount(
        ridden.stretch, weights=leg_wh * ridden.stretch_spread, minlength=len(slopes)
    )
    weight_n = estimate.values["mass_kg"] * STANDARD_GRAVITY_M_S2
    per_rise = np.bincount(
        ridden.section,
        weights=weight * loads.wheel_gain * weight_n * ridden.section_share,
        minlength=len(ridden.rise_modes),
    )
    slopes[ridden.first_mode :] += per_rise @ ridden.rise_modes
    return Slope(float(leg_wh.sum()), slopes)


def _returned(estimate: Estimate, ridden: Ridden, passage: Passage) -> Slope | None:
    """Energy that braking put back on a passage; derivatives by differences."""
    parameters, scores = estimate.evidence.parameters, estimate.solution.scores
    if "regenerative_share" not in parameters.index:
        return None

    def at(trial: FloatArray) -> float:
        values = parameters.values(trial)
        brakes = leg_loads(ridden.legs, values).causes[CAUSES.index("brakes")]
        share = values["regenerative_share"]
        back = brakes * share / (1.0 - share) * values["drivetrain_efficiency"]
        inside = slice(passage.first, passage.end)
        return float(back[inside] @ ridden.factor[inside]) / JOULES_PER_WATT_HOUR

    now, slopes = at(scores), np.zeros(len(scores))
    for number, item in enumerate(parameters.items):
        if item.name in estimate.loads.slopes:
            moved = scores.copy()
            moved[number] += _STEP
            slopes[number] = (at(moved) - now) / _STEP
    return Slope(now, slopes)


def _recovered(
    up: Sequence[_Taken], down: Sequence[_Taken], covariance: FloatArray
) -> Measure | None:
    """What braking puts back on a way down, over what a way up takes."""
    back = [of.returned for of in down if of.returned is not None]
    if not back or not up:
        return None
    taken, given = _mean([of.energy for of in up]), _mean(back)
    if taken.wh <= 0.0:
        return None
    share = given.wh / taken.wh
    return Slope(share, (given.slopes - share * taken.slopes) / taken.wh).measure(covariance)


def _left(estimate: Estimate) -> Slope:
    """Energy left at the end of the ride."""
    values, parameters = estimate.values, estimate.evidence.parameters
    by_score = parameters.slopes(estimate.solution.scores)
    energy = estimate.cell_energy
    capacity, start = values["battery_usable_wh"], values["start_charge"]
    slopes = -energy.slopes.sum(axis=0)
    slopes[parameters.index["battery_usable_wh"]] += start * by_score["battery_usable_wh"]
    slopes[parameters.index["start_charge"]] += capacity * by_score["start_charge"]
    return Slope(capacity * start - float(energy.wh.sum()), slopes)


def _chances(
    left: Slope, following: Slope, again_sd: float, estimate: Estimate, reserve_pct: float
) -> FloatArray:
    """Chance that 1, 2, 3 … more passages fit above the reserve."""
    parameters, covariance = estimate.evidence.parameters, estimate.solution.covariance
    capacity = estimate.values["battery_usable_wh"]
    reserve = np.zeros_like(left.slopes)
    by_score = parameters.slopes(estimate.solution.scores)["battery_usable_wh"]
    reserve[parameters.index["battery_usable_wh"]] = reserve_pct / 100.0 * by_score
    chances = []
    for number in range(1, _MOST_MORE + 1):
        spare = left.wh - reserve_pct / 100.0 * capacity - number * following.wh
        slope = left.slopes - reserve - number * following.slopes
        variance = float(slope @ covariance @ slope) + number * again_sd**2
        chances.append(float(ndtr(spare / max(np.sqrt(variance), 1e-12))))
    return np.array(chances)


def _mean(of: Sequence[Slope]) -> Slope:
    return Slope(
        float(np.mean([one.wh for one in of])), np.mean([one.slopes for one in of], axis=0)
    )


def _sum(of: Sequence[Slope]) -> Slope:
    return Slope(sum(one.wh for one in of), np.sum([one.slopes for one in of], axis=0))
