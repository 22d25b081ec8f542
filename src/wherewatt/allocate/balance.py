"""The balance of every leg at given parameters: what drives it, what brakes it, what it takes.

Made for many sets of parameters on the same legs: what none of them changes is worked out once, in
`Motion`. Energy by cause is left to `loads.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from scipy.special import ndtr

from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.physics import road_load
from wherewatt.units import STANDARD_GRAVITY_M_S2

# No light vehicle pushes harder; greater forces are noise of short legs.
_GREATEST_FORCE_N = 500.0


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
    """Work at the wheel [J], arrays (n,), and what it depends on.

    Parameters
    ----------
    rolling_j, air_j : against rolling resistance and moving air.
    rider_j : at the pedals.
    net_j : what all causes ask for, less the rider's.
    slopes : derivative of what all causes ask for by each parameter's value.
    follows : where a rider who gives all takes up every change of demand; None if nowhere.
    pedal_s : derivative of `rider_j` by the assumed power; None if none is assumed.
    """

    rolling_j: FloatArray
    air_j: FloatArray
    rider_j: FloatArray
    net_j: FloatArray
    slopes: dict[str, FloatArray]
    follows: BoolArray | None
    pedal_s: FloatArray | None


@dataclass(frozen=True, slots=True, eq=False)
class Balance:
    """What legs take at one set of parameters, before the day's factor; arrays (n,).

    Parameters
    ----------
    wheel : the work at the wheel.
    pushed_j, braked_j : what the motor gives, and what brakes and regeneration take [J].
    driving : derivative of `pushed_j` by the work at the wheel: the share driven [1].
    per_sd : derivative of `pushed_j` by the standard deviation of that work within the leg [1].
    heat_n2_s : squared driving force times duration, which heats the winding [N²·s].
    heat_per_work : its derivative by `pushed_j` [N·s/m].
    battery_j : energy from the battery [J].
    per_pushed : derivative of `battery_j` by `pushed_j`, with `braked_j` held [1].
    wheel_gain : derivative of `battery_j` by work at the wheel [1].
    """

    wheel: Wheel
    pushed_j: FloatArray
    braked_j: FloatArray
    driving: FloatArray
    per_sd: FloatArray
    heat_n2_s: FloatArray
    heat_per_work: FloatArray
    battery_j: FloatArray
    per_pushed: FloatArray
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
    sd = values["mass_kg"] * values["unsteadiness_m_s2"] * motion.distance_m
    pushed, driving, per_sd = _positive_part(wheel.net_j, sd)
    braked = pushed - wheel.net_j
    heat, heat_per_work = _winding(pushed, motion)
    per_pushed = 1.0 / efficiency + winding * heat_per_work
    idle = returned * efficiency  # gain of a leg that only brakes
    gain = idle + driving * (per_pushed - idle)
    if wheel.follows is not None:
        gain[wheel.follows] = 0.0
    constant = values["fixed_loss_w"] * motion.moving_s + values["auxiliary_w"] * motion.powered_s
    battery = pushed / efficiency - idle * braked + winding * heat + constant
    return Balance(
        wheel=wheel,
        pushed_j=pushed,
        braked_j=braked,
        driving=driving,
        per_sd=per_sd,
        heat_n2_s=heat,
        heat_per_work=heat_per_work,
        battery_j=battery,
        per_pushed=per_pushed,
        wheel_gain=gain,
    )


def battery_slopes(
    balance: Balance, motion: Motion, values: Mapping[str, float]
) -> dict[str, FloatArray]:
    """Derivative of `battery_j` (n,) by the values of all parameters but the surfaces' ratios."""
    wheel, gain = balance.wheel, balance.wheel_gain
    efficiency, returned = values["drivetrain_efficiency"], values.get("regenerative_share", 0.0)
    slopes = {name: gain * slope for name, slope in wheel.slopes.items()}
    # More fluctuation means more driving and as much more braking.
    per_fluctuation = (
        (balance.per_pushed - returned * efficiency) * balance.per_sd * motion.distance_m
    )
    slopes["mass_kg"] += per_fluctuation * values["unsteadiness_m_s2"]
    slopes["unsteadiness_m_s2"] = per_fluctuation * values["mass_kg"]
    slopes["drivetrain_efficiency"] = (
        balance.pushed_j / -(efficiency**2) - returned * balance.braked_j
    )
    slopes["fixed_loss_w"] = motion.moving_s
    slopes["winding_loss_w_n2"] = balance.heat_n2_s
    slopes["auxiliary_w"] = motion.powered_s
    if "regenerative_share" in values:
        slopes["regenerative_share"] = -efficiency * balance.braked_j
    if wheel.pedal_s is not None:
        slopes["pedal_power_w"] = -gain * wheel.pedal_s
    return slopes


def _wheel(motion: Motion, rise_m: FloatArray, values: Mapping[str, float]) -> Wheel:
    mass = values["mass_kg"]
    ratio = np.array([values[ratio_name(surface)] for surface in motion.surfaces])[motion.surface]
    per_coefficient = motion.distance_m * road_load.rolling_force(
        rise_m * motion.per_metre, mass_kg=mass, coefficient=ratio
    )
    rolling = values["rolling_resistance"] * per_coefficient
    per_mass = rolling / mass + STANDARD_GRAVITY_M_S2 * rise_m + motion.half_square_change
    per_drag, wind_slopes = _air(motion, values)
    air = values["drag_area_m2"] * per_drag
    demand = mass * per_mass + motion.rotating_mass_kg * motion.half_square_change + air
    rider, pedal_s, follows = _rider(motion, values, demand)
    slopes = {
        "mass_kg": per_mass,
        "rolling_resistance": per_coefficient,
        "drag_area_m2": per_drag,
        **wind_slopes,
    }
    return Wheel(rolling, air, rider, demand - rider, slopes, follows, pedal_s)


def _air(motion: Motion, values: Mapping[str, float]) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Work against moving air per drag area [J/m²], and the work's derivatives by the wind [J·s/m].

    As `road_load.air_force`, `headwind` and `crosswind` have it.
    """
    to_east, to_north = values["wind_east_m_s"], values["wind_north_m_s"]
    along = motion.speed_m_s - (to_east * motion.east + to_north * motion.north)
    across = to_east * motion.north - to_north * motion.east
    square = along * along
    flow = np.sqrt(square + across * across)
    swept = values["drag_area_m2"] * motion.swept_kg_m2
    per_flow = swept / np.maximum(flow, 1e-9)
    per_along = swept * flow + per_flow * square
    per_across = per_flow * along * across
    slopes = {
        "wind_east_m_s": per_across * motion.north - per_along * motion.east,
        "wind_north_m_s": -(per_along * motion.north + per_across * motion.east),
    }
    return motion.swept_kg_m2 * along * flow, slopes


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
    ratio = net_j / np.maximum(sd_j, 1e-9)
    driving = ndtr(ratio)
    density = np.exp(-0.5 * (ratio * ratio))
    density *= 1.0 / np.sqrt(2.0 * np.pi)
    return net_j * driving + sd_j * density, driving, density


def _winding(pushed_j: FloatArray, motion: Motion) -> tuple[FloatArray, FloatArray]:
    """Squared driving force times duration [N²·s], and its derivative by the work [N·s/m].

    The current follows the force and the winding's heat its square.
    """
    force = pushed_j * motion.per_metre
    limited = np.minimum(force, _GREATEST_FORCE_N)
    weighted = limited * motion.moving_s
    per_work = 2.0 * weighted * motion.per_metre
    per_work[force >= _GREATEST_FORCE_N] = 0.0
    return limited * weighted, per_work
