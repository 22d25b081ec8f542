"""What a planned ride takes from the battery, and how sure that is, to first order.

Uncertain are the parameters, the factor of the day among them, and every stretch, which has a
factor of its own as in the estimate of a ride. For questions that are not linear see `draws.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.ledger import Measure
from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.config import Config
from wherewatt.outlook.drive import Drive
from wherewatt.outlook.scenario import Scenario, ride_scenario
from wherewatt.outlook.vehicle import Known
from wherewatt.sections.surface import UNTAGGED
from wherewatt.units import JOULES_PER_WATT_HOUR


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Stretches over which the unknown is taken as constant.

    Parameters
    ----------
    of_leg : (n,) stretch of each leg.
    spread : (s,) standard deviation of the logarithm of each stretch's factor [1].
    """

    of_leg: IntArray
    spread: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class WindBend:
    """How the energy of the legs bends with the wind.

    Air resistance grows with the square: wind that is as likely to help as to hinder costs energy.
    What an ordinary day's unknown wind costs is in the parameters, which were learned on such days;
    only what is more uncertain than that counts. Who has to get home counts all of it: out and
    back the first order cancels, and the square is never won.

    Parameters
    ----------
    parameters : places of the wind's parameters among all, east and north.
    legs : (n, 2, 2) second derivatives of the legs' energy by their scores [Wh].
    counted : the part of them that counts [1].
    """

    parameters: tuple[int, int]
    legs: FloatArray
    counted: float


@dataclass(frozen=True, slots=True, eq=False)
class Demand:
    """Energy of a planned ride at the most probable parameters, and its derivatives.

    Parameters
    ----------
    drive : the ride.
    known : the parameters.
    leg_wh : (n,) energy of the legs [Wh].
    slopes : (n, p) their derivatives by the scores [Wh].
    wind_bend : second derivatives by the two scores of the wind.
    stretches : the stretches of the unknown.
    """

    drive: Drive
    known: Known
    leg_wh: FloatArray
    slopes: FloatArray
    wind_bend: WindBend
    stretches: Stretches

    @property
    def used_wh(self) -> FloatArray:
        """(n+1,) energy used from the start to the points of the ride [Wh]."""
        return np.concatenate([[0.0], np.cumsum(self.leg_wh)])

    @property
    def used_slopes(self) -> FloatArray:
        """(n+1, p) its derivatives by the scores [Wh]."""
        return _summed(self.slopes)

    @property
    def used_by_stretch(self) -> FloatArray:
        """(n+1, s) the part of it that falls on each stretch [Wh]."""
        of_stretch = np.zeros((len(self.leg_wh), len(self.stretches.spread)))
        of_stretch[np.arange(len(self.leg_wh)), self.stretches.of_leg] = self.leg_wh
        return _summed(of_stretch)

    @property
    def used_wind_bend(self) -> FloatArray:
        """(n+1, 2, 2) second derivatives of the energy used by the scores of the wind [Wh]."""
        return self.wind_bend.counted * _summed(self.wind_bend.legs)

    def in_any_wind(self) -> Demand:
        """The same, but with all that an unknown wind costs."""
        return replace(self, wind_bend=replace(self.wind_bend, counted=1.0))

    def covariance(self, points: IntArray) -> FloatArray:
        """(m, m) covariance of the energy used up to some points of the ride [Wh²]."""
        slopes = self.used_slopes[points]
        unknown = self.used_by_stretch[points] * self.stretches.spread
        return np.asarray(slopes @ self.known.covariance @ slopes.T + unknown @ unknown.T)

    @property
    def total(self) -> Measure:
        """Energy of the whole ride [Wh]."""
        variance = float(self.covariance(np.array([len(self.leg_wh)]))[0, 0])
        return Measure(float(self.leg_wh.sum()), float(np.sqrt(variance)))

    @property
    def wh_per_km(self) -> Measure:
        """Consumption [Wh/km]."""
        km = self.drive.course.length_m / 1000.0
        return Measure(self.total.mean / km, self.total.sd / km)


def demand_of(scenario: Scenario, known: Known, config: Config) -> Demand:
    """What a ride takes."""
    ridden = ride_scenario(scenario, known, config)
    loads = scenario.loads(ridden.legs, known.values)
    nothing = np.zeros_like(loads.battery_j)
    slopes = [
        loads.slopes.get(name, nothing) * slope
        for name, slope in known.parameters.slopes(known.scores).items()
    ]
    return Demand(
        drive=ridden,
        known=known,
        leg_wh=loads.battery_j / JOULES_PER_WATT_HOUR,
        slopes=np.stack(slopes, axis=1) / JOULES_PER_WATT_HOUR,
        wind_bend=_wind_bend(scenario, ridden, known, config.priors["wind_m_s"].spread),
        stretches=stretches_of(ridden, known, config.estimate),
    )


def _wind_bend(scenario: Scenario, ridden: Drive, known: Known, ordinary_m_s: float) -> WindBend:
    """By differences of a whole standard deviation, over which the bend is to hold."""
    at = (known.parameters.index["wind_east_m_s"], known.parameters.index["wind_north_m_s"])

    def energy(east: float, north: float) -> FloatArray:
        scores = known.scores.copy()
        scores[list(at)] += (east, north)
        return scenario.loads(ridden.legs, known.parameters.values(scores)).battery_j

    middle = energy(0.0, 0.0)
    straight = [
        energy(*step) + energy(*(-part for part in step)) - 2.0 * middle
        for step in ((1.0, 0.0), (0.0, 1.0))
    ]
    across = (energy(1.0, 1.0) - energy(1.0, -1.0) - energy(-1.0, 1.0) + energy(-1.0, -1.0)) / 4.0
    bend = np.stack([straight[0], across, across, straight[1]], axis=-1).reshape(-1, 2, 2)
    spread = known.parameters.items[at[0]].prior.spread
    beyond = max(0.0, 1.0 - (ordinary_m_s / spread) ** 2)
    return WindBend(at, bend / JOULES_PER_WATT_HOUR, beyond)


def stretches_of(ridden: Drive, known: Known, settings: EstimateSettings) -> Stretches:
    """Stretches of a ride; less is known of those that nobody tagged, and in wind.

    As in the estimate of a ride (`allocate/cells.py`).
    """
    total = ridden.course.length_m
    number = max(1, round(total / settings.stretch_m))
    middle = (ridden.at_m[1:] + ridden.at_m[:-1]) / 2.0
    of_leg = np.minimum((middle / total * number).astype(np.intp), number - 1)
    named = np.array([name == UNTAGGED for name in ridden.legs.surfaces])[ridden.legs.surface]
    metres = ridden.legs.distance_m
    untagged = np.bincount(of_leg, weights=named * metres, minlength=number)
    length = np.bincount(of_leg, weights=metres, minlength=number)
    wind = known.day.weather.wind_speed_m_s or 0.0
    tagged = np.hypot(settings.stretch_spread, settings.shelter_spread_s_m * wind)
    return Stretches(of_leg, np.hypot(tagged, settings.untagged_spread * untagged / length))


def _summed(of_legs: FloatArray) -> FloatArray:
    """(n+1, …) sums over the legs before each point."""
    return np.concatenate([np.zeros((1, *of_legs.shape[1:])), np.cumsum(of_legs, axis=0)])
