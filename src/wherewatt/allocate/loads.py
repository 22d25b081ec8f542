"""Energy of every leg by cause at given parameters, with its derivatives.

The balance of a leg is an identity:

    battery = (rolling + air + wind + height + speed + brakes − rider)
              + drivetrain + auxiliary

all of it times the day's factor,

where drivetrain = battery-to-wheel loss (a share of the work, a fixed power while moving, and the
heat of the winding, which grows with the square of the force) and brakes ≥ 0 is what the balance at
the wheel leaves over, less what regenerative braking returns.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wherewatt.allocate.balance import Balance, Motion, balance_of, battery_slopes, headwind
from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.units import STANDARD_GRAVITY_M_S2

# The columns of the ledger, in the order of the file contract.
CAUSES = (
    "rolling",
    "air",
    "wind",
    "height",
    "speed",
    "brakes",
    "drivetrain",
    "auxiliary",
    "rider",
)


@dataclass(frozen=True, slots=True, eq=False)
class Legs:
    """What the loads need to know of the legs; arrays (n,).

    Parameters
    ----------
    time_s, distance_m, speed_m_s : duration [s], length [m], mean speed [m/s].
    rise_m : change of height [m].
    square_speed_change : change of the squared speed [m²/s²].
    heading_rad : direction of travel, clockwise from north [rad].
    density_kg_m3 : air density [kg/m³].
    moving : False on legs of a stop.
    powered_s : duration with the vehicle switched on [s].
    rider_j : work at the pedals as recorded [J]; zero where nobody pedals.
    surface : index into `surfaces`.
    surfaces : names of the surfaces.
    rotating_mass_kg : wheels' moment of inertia over radius squared [kg].
    """

    time_s: FloatArray
    distance_m: FloatArray
    speed_m_s: FloatArray
    rise_m: FloatArray
    square_speed_change: FloatArray
    heading_rad: FloatArray
    density_kg_m3: FloatArray
    moving: BoolArray
    powered_s: FloatArray
    rider_j: FloatArray
    surface: IntArray
    surfaces: tuple[str, ...]
    rotating_mass_kg: float

    def motion(self) -> Motion:
        """What no parameter changes."""
        away = self.distance_m > 0
        per_metre = np.divide(1.0, self.distance_m, out=np.zeros(len(away)), where=away)
        half = np.tan(self.heading_rad / 2.0)  # takes a fifth of the time of a sine
        square = half * half
        share = 1.0 / (1.0 + square)
        return Motion(
            distance_m=self.distance_m,
            speed_m_s=self.speed_m_s,
            per_metre=per_metre,
            moving_s=np.where(self.moving, self.time_s, 0.0),
            powered_s=self.powered_s,
            east=2.0 * half * share,
            north=(1.0 - square) * share,
            swept_kg_m2=0.5 * self.density_kg_m3 * self.distance_m,
            half_square_change=0.5 * self.square_speed_change,
            rider_j=self.rider_j,
            surface=self.surface,
            surfaces=self.surfaces,
            rotating_mass_kg=self.rotating_mass_kg,
        )


@dataclass(frozen=True, eq=False)
class Loads:
    """Energies of the legs at one set of parameters.

    Parameters
    ----------
    values : the parameters' values.
    motions : how the vehicle moved, part by part of the ride.
    rise_m : (n,) change of height [m].
    kept : the balance of each part, before the day's factor; none where it is not kept.
    """

    values: Mapping[str, float]
    motions: tuple[Motion, ...]
    rise_m: FloatArray
    kept: tuple[Balance, ...] = ()

    @property
    def day_factor(self) -> float:
        """What the day takes more of everything."""
        return self.values.get("day_factor", 1.0)

    @cached_property
    def causes(self) -> FloatArray:
        """(len(CAUSES), n) energy by cause [J]; the columns add up to `battery_j`."""
        causes = np.empty((len(CAUSES), len(self.rise_m)))
        for part, legs in self.by_part():
            fill_causes(causes[:, legs], part, self.values)
        causes *= self.day_factor
        return causes

    @cached_property
    def battery_j(self) -> FloatArray:
        """(n,) energy from the battery [J]."""
        return np.concatenate([part.battery_j for part in self._parts]) * self.day_factor

    @property
    def headwind_m_s(self) -> FloatArray:
        """(n,) wind against the direction of travel [m/s]."""
        return np.concatenate([headwind(motion, self.values) for motion in self.motions])

    @property
    def wheel_gain(self) -> FloatArray:
        """(n,) derivative of `battery_j` with respect to work at the wheel [1]."""
        return np.concatenate([part.wheel_gain for part in self._parts]) * self.day_factor

    @cached_property
    def slopes(self) -> dict[str, FloatArray]:
        """Derivative of `battery_j` (n,) with respect to each parameter's value."""
        parts = [_slopes(part, self.values) for part in self._parts]
        slopes = {
            name: np.concatenate([slope[name] for slope in parts]) * self.day_factor
            for name in parts[0]
        }
        return {**slopes, "day_factor": self.battery_j / self.day_factor}

    @cached_property
    def _parts(self) -> tuple[Balance, ...]:
        return tuple(part for part, _ in self.by_part())

    def by_part(self) -> Iterator[tuple[Balance, slice]]:
        """The balance of each part, and the legs it is of; one at a time, where none are kept."""
        end = 0
        for number, motion in enumerate(self.motions):
            first, end = end, end + len(motion.distance_m)
            legs = slice(first, end)
            if self.kept:
                yield self.kept[number], legs
            else:
                yield balance_of(motion, self.rise_m[legs], self.values), legs


def leg_loads(legs: Legs, values: Mapping[str, float]) -> Loads:
    """Energies of all legs and their derivatives.

    Parameters
    ----------
    legs : the ride.
    values : parameter values by name, in the units of the configuration file.
    """
    motion = legs.motion()
    balance = balance_of(motion, legs.rise_m, values)
    return Loads(values, (motion,), legs.rise_m, (balance,))


def fill_causes(causes: FloatArray, part: Balance, values: Mapping[str, float]) -> None:
    """Put energy by cause (len(CAUSES), n) where it belongs, before the day's factor [J]."""
    motion, wheel, mass = part.motion, part.wheel, values["mass_kg"]
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    rolling, still, wind, height, speed, brakes, drivetrain, auxiliary, rider = causes
    swept = values["drag_area_m2"] * motion.swept_kg_m2
    np.multiply(wheel.per_coefficient_j, values["rolling_resistance"], out=rolling)
    np.multiply(swept * motion.speed_m_s, np.abs(motion.speed_m_s), out=still)
    np.subtract(swept * wheel.along_m_s * wheel.flow_m_s, still, out=wind)
    np.multiply(part.rise_m, mass * STANDARD_GRAVITY_M_S2, out=height)
    np.multiply(motion.half_square_change, mass + motion.rotating_mass_kg, out=speed)
    np.multiply(part.braked_j, 1.0 - returned, out=brakes)
    np.multiply(part.pushed_j, 1.0 / efficiency - 1.0, out=drivetrain)
    drivetrain += returned * (1.0 - efficiency) * part.braked_j
    drivetrain += values["fixed_loss_w"] * motion.moving_s
    drivetrain += values["winding_loss_w_n2"] * part.heat_n2_s
    np.multiply(motion.powered_s, values["auxiliary_w"], out=auxiliary)
    np.subtract(0.0, wheel.rider_j, out=rider)  # not its negative: nothing has no sign


def _each(of_legs: FloatArray, weight: FloatArray | None = None) -> FloatArray:
    """The legs alone, each times its weight."""
    return of_legs if weight is None else of_legs * weight


def _slopes(part: Balance, values: Mapping[str, float]) -> dict[str, FloatArray]:
    """Derivatives before the day's factor."""
    slopes = battery_slopes(part, values, _each)
    for number, surface in enumerate(part.motion.surfaces):
        name = ratio_name(surface)
        per_ratio = slopes["rolling_resistance"] * (values["rolling_resistance"] / values[name])
        slopes[name] = np.where(part.motion.surface == number, per_ratio, 0.0)
    return slopes
