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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wherewatt.allocate.balance import Balance, Motion, balance_of, battery_slopes
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
        return Motion(
            distance_m=self.distance_m,
            speed_m_s=self.speed_m_s,
            per_metre=np.divide(1.0, self.distance_m, out=np.zeros(len(away)), where=away),
            moving_s=np.where(self.moving, self.time_s, 0.0),
            powered_s=self.powered_s,
            east=np.sin(self.heading_rad),
            north=np.cos(self.heading_rad),
            swept_kg_m2=0.5 * self.density_kg_m3 * self.distance_m,
            half_square_change=0.5 * self.square_speed_change,
            rider_j=self.rider_j,
            surface=self.surface,
            surfaces=self.surfaces,
            rotating_mass_kg=self.rotating_mass_kg,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Some of a ride's legs, in order, at one set of parameters.

    Parameters
    ----------
    motion : how the vehicle moved.
    rise_m : change of height [m].
    balance : what drives and what brakes, before the day's factor.
    """

    motion: Motion
    rise_m: FloatArray
    balance: Balance


@dataclass(frozen=True, eq=False)
class Loads:
    """Energies of the legs at one set of parameters.

    Parameters
    ----------
    causes : (len(CAUSES), n) energy by cause [J]; the columns add up to `battery_j`.
    battery_j : (n,) energy from the battery [J].
    values : the parameters' values.
    parts : the legs, with what their energy depends on.
    """

    causes: FloatArray
    battery_j: FloatArray
    values: Mapping[str, float]
    parts: tuple[Part, ...]

    @property
    def day_factor(self) -> float:
        """What the day takes more of everything."""
        return self.values.get("day_factor", 1.0)

    @property
    def wheel_gain(self) -> FloatArray:
        """(n,) derivative of `battery_j` with respect to work at the wheel [1]."""
        return np.concatenate([part.balance.wheel_gain for part in self.parts]) * self.day_factor

    @cached_property
    def slopes(self) -> dict[str, FloatArray]:
        """Derivative of `battery_j` (n,) with respect to each parameter's value."""
        parts = [_slopes(part, self.values) for part in self.parts]
        slopes = {
            name: np.concatenate([slope[name] for slope in parts]) * self.day_factor
            for name in parts[0]
        }
        return {**slopes, "day_factor": self.battery_j / self.day_factor}


def leg_loads(legs: Legs, values: Mapping[str, float]) -> Loads:
    """Energies of all legs and their derivatives.

    Parameters
    ----------
    legs : the ride.
    values : parameter values by name, in the units of the configuration file.
    """
    motion = legs.motion()
    return loads_of([Part(motion, legs.rise_m, balance_of(motion, legs.rise_m, values))], values)


def loads_of(parts: Sequence[Part], values: Mapping[str, float]) -> Loads:
    """Energies of legs whose balance is known."""
    ends = np.cumsum([len(part.rise_m) for part in parts])
    causes = np.empty((len(CAUSES), ends[-1]))
    for part, end in zip(parts, ends, strict=True):
        _fill_causes(causes[:, end - len(part.rise_m) : end], part, values)
    causes *= values.get("day_factor", 1.0)
    return Loads(causes, causes.sum(axis=0), values, tuple(parts))


def _slopes(part: Part, values: Mapping[str, float]) -> dict[str, FloatArray]:
    """Derivatives before the day's factor."""
    slopes = battery_slopes(part.balance, part.motion, values)
    for number, surface in enumerate(part.motion.surfaces):
        name = ratio_name(surface)
        per_ratio = slopes["rolling_resistance"] * (values["rolling_resistance"] / values[name])
        slopes[name] = np.where(part.motion.surface == number, per_ratio, 0.0)
    return slopes


def _fill_causes(causes: FloatArray, part: Part, values: Mapping[str, float]) -> None:
    """Put energy by cause (len(CAUSES), n) where it belongs, before the day's factor [J]."""
    motion, balance, mass = part.motion, part.balance, values["mass_kg"]
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    speed = motion.speed_m_s
    still = values["drag_area_m2"] * motion.swept_kg_m2 * speed * np.abs(speed)
    causes[0] = balance.wheel.rolling_j
    causes[1] = still
    causes[2] = balance.wheel.air_j - still
    causes[3] = (mass * STANDARD_GRAVITY_M_S2) * part.rise_m
    causes[4] = (mass + motion.rotating_mass_kg) * motion.half_square_change
    causes[5] = (1.0 - returned) * balance.braked_j
    causes[6] = (
        (1.0 / efficiency - 1.0) * balance.pushed_j
        + returned * (1.0 - efficiency) * balance.braked_j
        + values["fixed_loss_w"] * motion.moving_s
        + values["winding_loss_w_n2"] * balance.heat_n2_s
    )
    causes[7] = values["auxiliary_w"] * motion.powered_s
    causes[8] = -balance.wheel.rider_j
