"""Out along a way and home again: the energy of every turning point at once, in every draw.

One ride to the far end and back is enough. Out to a place takes what the way out took up to there;
home from it, what the last part of the way home takes. The stop at the turn is added as a start
from a stand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.outlook.course import Course
from wherewatt.outlook.demand import Demand, demand_of
from wherewatt.outlook.draws import Draws, Used, draw, used_by
from wherewatt.outlook.scenario import Scenario
from wherewatt.outlook.settings import Pace
from wherewatt.outlook.vehicle import Known
from wherewatt.physics import road_load
from wherewatt.units import JOULES_PER_WATT_HOUR

# Part of a stretch's unknown that the same road has again on the way home: its surface and shelter,
# less the rider's hand and the gusts. Common practice, no source.
ROAD_IN_COMMON = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class OutAndHome:
    """Energy of turning at each of m places of a way, in d draws.

    Parameters
    ----------
    draws : what was drawn.
    demand : of the ride to the far end and back.
    at_m : (m,) places from the start to the far end [m].
    out_wh : (d, m) energy used on the way out by then [Wh].
    home_wh : (d, m) energy of the way home from there, without the start [Wh].
    start_wh : (m,) energy of the start after the turn [Wh].
    """

    draws: Draws
    demand: Demand
    at_m: FloatArray
    out_wh: FloatArray
    home_wh: FloatArray
    start_wh: FloatArray

    @property
    def need_home_wh(self) -> FloatArray:
        """(d, m) the most that is drawn at any time on the way home from each place [Wh].

        Where braking charges, that is more than what the whole way home takes.
        """
        deepest = self.home_wh - np.minimum.accumulate(self.home_wh, axis=1)
        return np.asarray(self.start_wh + deepest)

    @property
    def need_wh(self) -> FloatArray:
        """(d, m) the most that is drawn at any time of the ride that turns at each place [Wh]."""
        on_the_way = np.maximum.accumulate(self.out_wh, axis=1)
        return np.maximum(on_the_way, self.out_wh + self.need_home_wh)

    @property
    def need_on_wh(self) -> FloatArray:
        """(d, m) the most that is drawn at any time from each place on to the far end [Wh]."""
        backwards = np.maximum.accumulate(self.out_wh[:, ::-1], axis=1)[:, ::-1]
        return np.asarray(backwards - self.out_wh)

    def at(self, distance_m: FloatArray, of: FloatArray) -> FloatArray:
        """(d, k) one of its (d, m) energies at some distances (k,)."""
        return Used(self.at_m, self.at_m, of).up_to(distance_m)


def out_and_home(course: Course, pace: Pace, known: Known, config: Config) -> OutAndHome:
    """Ride out and home, in many draws.

    Parameters
    ----------
    course : the way out, with its stops; home is the same road back.
    """
    lap = course.followed_by(course.reversed())
    demand = demand_of(Scenario(lap, pace), known, config)
    draws = draw(known, len(demand.stretches.spread), config.outlook)
    draws = replace(draws, stretch=on_the_same_road(draws.stretch))
    used = used_by(draws, demand.in_any_wind(), config.outlook)
    length = course.length_m
    places = max(1, round(length / config.outlook.point_m))
    at = np.linspace(0.0, length, places + 1)
    whole = used.wh[:, -1:]
    return OutAndHome(
        draws=draws,
        demand=demand,
        at_m=at,
        out_wh=used.up_to(at),
        home_wh=whole - used.up_to(2.0 * length - at),
        start_wh=_start_wh(demand, 2.0 * length - at),
    )


def on_the_same_road(stretch: FloatArray) -> FloatArray:
    """(d, s) numbers of the stretches of a way there and back, of which the last mirror the first.

    Parameters
    ----------
    stretch : (d, s) independent unit normal numbers.
    """
    mirrored = stretch.copy()
    half = stretch.shape[1] // 2
    if half:
        own = np.sqrt(1.0 - ROAD_IN_COMMON**2)
        mirrored[:, -half:] = ROAD_IN_COMMON * stretch[:, :half][:, ::-1] + own * stretch[:, -half:]
    return mirrored


def _start_wh(demand: Demand, at_m: FloatArray) -> FloatArray:
    """Energy to reach the speed that the ride has at some places from a stand [Wh]."""
    drive, values = demand.drive, demand.known.values
    joules = road_load.kinetic_energy(
        np.interp(at_m, drive.at_m, drive.speed_m_s),
        mass_kg=values["mass_kg"],
        rotating_mass_kg=drive.legs.rotating_mass_kg,
    )
    return np.asarray(joules / values["drivetrain_efficiency"] / JOULES_PER_WATT_HOUR)
