"""The balance of every leg at given parameters: what drives it, what brakes it, what it takes.

Made for many sets of parameters on the same legs: what none of them changes is worked out once, in
`Motion`. Energy by cause is left to `loads.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Protocol

import numpy as np

from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.physics import road_load
from wherewatt.units import STANDARD_GRAVITY_M_S2

# No light vehicle pushes harder; greater forces are noise of short legs.
_GREATEST_FORCE_N = 500.0
_LEAST_FLOW_M_S = 1e-9  # where nothing moves, directions of the air are no number

# Mills' ratio of a normal variable at x is nearly a polynomial of 1/(1 + _PER_SD·x), without a
# constant; highest power first. Fitted so that the greatest error of Φ is least: 1e-9.
_PER_SD = 0.24
_MILLS = (
    -0.3126393606,
    1.385746497,
    -1.610732122,
    1.558871528,
    -0.3806617958,
    0.3880937602,
    0.224635633,
)


class Total(Protocol):
    """Makes sums of numbers of the legs: by cell, of all, or none at all."""

    def __call__(self, of_legs: FloatArray, weight: FloatArray | None = None) -> FloatArray:
        """Sums of numbers of the legs (n,), each times its weight (…, n) if there is any."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """How the vehicle moved, whatever the parameters; arrays (n,) of legs.

    Parameters
    ----------
    distance_m, speed_m_s : length [m] and mean speed [m/s].
    per_metre : one over the length [1/m]; zero on legs without any.
    moving_s, powered_s : duration, zero on legs of a stop, and with the vehicle switched on [s].
    east, north : direction of travel [1].
    swept_kg_m2 : half the density of the air times the length [kg/m²].
    half_square_change : half the change of the squared speed [m²/s²].
    rider_j : work at the pedals as recorded [J].
    surface : index into `surfaces`.
    surfaces : names of the surfaces.
    rotating_mass_kg : wheels' moment of inertia over radius squared [kg].
    """

    distance_m: FloatArray
    speed_m_s: FloatArray
    per_metre: FloatArray
    moving_s: FloatArray
    powered_s: FloatArray
    east: FloatArray
    north: FloatArray
    swept_kg_m2: FloatArray
    half_square_change: FloatArray
    rider_j: FloatArray
    surface: IntArray
    surfaces: tuple[str, ...]
    rotating_mass_kg: float

    def part(self, first: int, end: int) -> Motion:
        """The legs from `first` to before `end`."""
        arrays: dict[str, Any] = {
            field.name: value[first:end]
            for field in fields(self)
            if isinstance(value := getattr(self, field.name), np.ndarray)
        }
        return replace(self, **arrays)


@dataclass(frozen=True, slots=True, eq=False)
class Wheel:
    """Work at the wheel, arrays (n,), and what it depends on.

    Parameters
    ----------
    per_coefficient_j : work against rolling resistance over its coefficient on asphalt [J].
    along_m_s : speed of the air against the direction of travel.
    flow_m_s : speed of the air past the vehicle, from wherever.
    head_on : the former over the latter [1].
    rider_j : work at the pedals [J].
    net_j : what all causes ask for, less the rider's [J].
    follows : where a rider who gives all takes up every change of demand; None if nowhere.
    pedal_s : derivative of `rider_j` by the assumed power; None if none is assumed.
    """

    per_coefficient_j: FloatArray
    along_m_s: FloatArray
    flow_m_s: FloatArray
    head_on: FloatArray
    rider_j: FloatArray
    net_j: FloatArray
    follows: BoolArray | None
    pedal_s: FloatArray | None


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """What legs take at one set of parameters, before the day's factor; arrays (n,).

    Parameters
    ----------
    motion : how the vehicle moved.
    rise_m : change of height [m].
    wheel : the work at the wheel.
    pushed_j, braked_j : what the motor gives, and what brakes and regeneration take [J].
    driving : derivative of `pushed_j` by the work at the wheel: the share driven [1].
    per_sd : derivative of `pushed_j` by the standard deviation of that work within the leg [1].
    heat_n2_s : squared driving force times duration, which heats the winding [N²·s].
    battery_j : energy from the battery [J].
    per_driven : derivative of `battery_j` by `pushed_j`, with as much more in `braked_j` [1].
    wheel_gain : derivative of `battery_j` by work at the wheel [1].
    """

    motion: Motion
    rise_m: FloatArray
    wheel: Wheel
    pushed_j: FloatArray
    braked_j: FloatArray
    driving: FloatArray
    per_sd: FloatArray
    heat_n2_s: FloatArray
    battery_j: FloatArray
    per_driven: FloatArray
    wheel_gain: FloatArray


def balance_of(motion: Motion, rise_m: FloatArray, values: Mapping[str, float]) -> Balance:
    """The balance of all legs.

    Parameters
    ----------
    rise_m : (n,) change of height [m].
    values : parameter values by name, in the units of the configuration file.
    """
    wheel = _wheel(motion, rise_m, values)
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    winding = values["winding_loss_w_n2"]
    sd = (values["mass_kg"] * values["unsteadiness_m_s2"]) * motion.distance_m
    pushed, driving, per_sd = _positive_part(wheel.net_j, sd)
    braked = pushed - wheel.net_j
    idle = returned * efficiency  # gain of a leg that only brakes
    heat, per_driven = _winding(pushed, motion)
    battery = winding * heat
    battery += pushed / efficiency
    battery += values["fixed_loss_w"] * motion.moving_s
    battery += values["auxiliary_w"] * motion.powered_s
    per_driven *= winding
    per_driven += 1.0 / efficiency - idle
    gain = driving * per_driven
    if returned:
        battery -= idle * braked
        gain += idle
    if wheel.follows is not None:
        gain[wheel.follows] = 0.0
    return Balance(
        motion=motion,
        rise_m=rise_m,
        wheel=wheel,
        pushed_j=pushed,
        braked_j=braked,
        driving=driving,
        per_sd=per_sd,
        heat_n2_s=heat,
        battery_j=battery,
        per_driven=per_driven,
        wheel_gain=gain,
    )


def battery_slopes(
    balance: Balance, values: Mapping[str, float], total: Total
) -> dict[str, FloatArray]:
    """Derivatives of sums of `battery_j` by the values of all parameters but surfaces' ratios.

    Parameters
    ----------
    total : makes the sums.
    """
    motion, wheel, gain = balance.motion, balance.wheel, balance.wheel_gain
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    slopes = demand_slopes(balance, gain, values, total)
    # More fluctuation means more driving and as much more braking.
    fluctuating = total(motion.distance_m, balance.per_driven * balance.per_sd)
    slopes["mass_kg"] += fluctuating * values["unsteadiness_m_s2"]
    slopes["unsteadiness_m_s2"] = fluctuating * values["mass_kg"]
    braked = total(balance.braked_j)
    slopes["drivetrain_efficiency"] = total(balance.pushed_j) / -(efficiency**2) - returned * braked
    slopes["fixed_loss_w"] = total(motion.moving_s)
    slopes["winding_loss_w_n2"] = total(balance.heat_n2_s)
    slopes["auxiliary_w"] = total(motion.powered_s)
    if "regenerative_share" in values:
        slopes["regenerative_share"] = -efficiency * braked
    if wheel.pedal_s is not None:
        slopes["pedal_power_w"] = -total(wheel.pedal_s, gain)
    return slopes


def demand_slopes(
    balance: Balance, weight: FloatArray, values: Mapping[str, float], total: Total
) -> dict[str, FloatArray]:
    """Derivatives of weighted sums of what all causes ask for at the wheel.

    By the values of all parameters it depends on but the surfaces' ratios.

    Parameters
    ----------
    weight : (…, n) of the legs.
    total : makes the sums.
    """
    motion, wheel = balance.motion, balance.wheel
    per_coefficient = total(wheel.per_coefficient_j, weight)
    per_mass = values["rolling_resistance"] / values["mass_kg"] * per_coefficient
    per_mass += STANDARD_GRAVITY_M_S2 * total(balance.rise_m, weight)
    per_mass += total(motion.half_square_change, weight)
    # The work against the air is swept · along · flow, where flow² is along² + across².
    head_on = motion.swept_kg_m2 * wheel.head_on
    with_flow = total(head_on, weight)
    per_wind = motion.swept_kg_m2 * wheel.flow_m_s
    per_area = total(per_wind * wheel.along_m_s, weight)
    head_on *= motion.speed_m_s
    per_wind += head_on
    area = values["drag_area_m2"]
    return {
        "mass_kg": per_mass,
        "rolling_resistance": per_coefficient,
        "drag_area_m2": per_area,
        **{
            name: area * (values[name] * with_flow - total(per_wind * way, weight))
            for name, way in (("wind_east_m_s", motion.east), ("wind_north_m_s", motion.north))
        },
    }


def headwind(motion: Motion, values: Mapping[str, float]) -> FloatArray:
    """(n,) wind against the direction of travel [m/s], as `road_load.headwind` has it."""
    head = -values["wind_east_m_s"] * motion.east
    head -= values["wind_north_m_s"] * motion.north
    return head


def _wheel(motion: Motion, rise_m: FloatArray, values: Mapping[str, float]) -> Wheel:
    mass = values["mass_kg"]
    weight_n = mass * STANDARD_GRAVITY_M_S2
    ratio = np.array([values[ratio_name(surface)] for surface in motion.surfaces])
    per_coefficient = motion.distance_m * road_load.rolling_force(
        rise_m * motion.per_metre, mass_kg=mass, coefficient=ratio.take(motion.surface)
    )
    along, flow = _air(motion, values)
    demand = values["drag_area_m2"] * motion.swept_kg_m2
    demand *= along
    demand *= flow
    demand += values["rolling_resistance"] * per_coefficient
    demand += weight_n * rise_m
    demand += (mass + motion.rotating_mass_kg) * motion.half_square_change
    rider, pedal_s, follows = _rider(motion, values, demand)
    net = demand - rider
    return Wheel(per_coefficient, along, flow, along / flow, rider, net, follows, pedal_s)


def _air(motion: Motion, values: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
    """Speed of the air against the direction of travel, and past the vehicle [m/s].

    As `road_load.air_force`, `headwind` and `crosswind` have it: with a headwind h and a wind w,
    flow² = (v + h)² + w² − h².
    """
    to_east, to_north = values["wind_east_m_s"], values["wind_north_m_s"]
    head = headwind(motion, values)
    along = motion.speed_m_s + head
    square = along + head
    square *= motion.speed_m_s
    square += to_east * to_east + to_north * to_north
    return along, np.sqrt(np.maximum(square, _LEAST_FLOW_M_S**2))


def _rider(
    motion: Motion, values: Mapping[str, float], demand: FloatArray
) -> tuple[FloatArray, FloatArray | None, BoolArray | None]:
    """Work at the pedals [J], its derivative by the assumed power, and where it follows demand.

    An assumed rider pedals while moving and never pushes more than the ride demands.
    """
    if "pedal_power_w" not in values:
        return motion.rider_j, None, None
    offered = values["pedal_power_w"] * motion.moving_s
    wanted = np.maximum(demand, 0.0)
    limited = offered > wanted
    per_watt = np.where(limited, 0.0, motion.moving_s)
    return np.where(limited, wanted, offered), per_watt, limited & (demand > 0.0)


def _positive_part(
    net_j: FloatArray, sd_j: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean positive part [J] of a fluctuating balance; derivatives by its mean and its sd.

    Small slopes, gusts and the rider's hand make the demand come and go, so a leg in balance drives
    a little and brakes a little: net·Φ(net/σ) + σ·φ(net/σ) (Clark 1961, Oper. Res. 9:145, for the
    greater of a normal variable and zero).
    """
    driving, density = _normal(net_j / np.maximum(sd_j, 1e-9))
    pushed = net_j * driving
    pushed += sd_j * density
    # The mean positive part is no less than the positive part of the mean, by rounding neither.
    np.maximum(pushed, np.maximum(net_j, 0.0), out=pushed)
    return pushed, driving, density


def _normal(deviations: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distribution function Φ and density φ of a normal variable.

    Beyond x the tail is φ(x) times Mills' ratio, here by a polynomial of the kind of Hastings
    (1955, Approximations for Digital Computers; Abramowitz and Stegun 1964, equation 26.2.17),
    which for many legs takes less time than `scipy.special.ndtr`.
    """
    density = np.square(deviations)
    density *= -0.5
    np.exp(density, out=density)
    density *= 1.0 / np.sqrt(2.0 * np.pi)
    nearness = np.abs(deviations)
    nearness *= _PER_SD
    nearness += 1.0
    np.reciprocal(nearness, out=nearness)
    tail = np.zeros_like(density)
    for coefficient in _MILLS:
        tail += coefficient
        tail *= nearness
    tail *= density
    tail -= 0.5
    np.copysign(tail, deviations, out=tail)  # below the mean it is the tail, above the rest
    tail += 0.5
    return tail, density


def _winding(pushed_j: FloatArray, motion: Motion) -> tuple[FloatArray, FloatArray]:
    """Squared driving force times duration [N²·s], and its derivative by the work [N·s/m].

    The current follows the force and the winding's heat its square.
    """
    force = pushed_j * motion.per_metre
    limited = force >= _GREATEST_FORCE_N
    np.minimum(force, _GREATEST_FORCE_N, out=force)
    weighted = force * motion.moving_s
    per_work = weighted * motion.per_metre
    per_work *= 2.0
    if limited.any():
        per_work[limited] = 0.0
    weighted *= force
    return weighted, per_work
