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

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.physics import road_load
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


# No light vehicle pushes harder; greater forces are noise of short legs.
_GREATEST_FORCE_N = 500.0


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


@dataclass(frozen=True, slots=True, eq=False)
class Loads:
    """Energies of the legs at one set of parameters.

    Parameters
    ----------
    causes : (len(CAUSES), n) energy by cause [J]; the columns add up to `battery_j`.
    battery_j : (n,) energy from the battery [J].
    slopes : derivative of `battery_j` (n,) with respect to each parameter's value.
    wheel_gain : (n,) derivative of `battery_j` with respect to work at the wheel [1].
    """

    causes: FloatArray
    battery_j: FloatArray
    slopes: dict[str, FloatArray]
    wheel_gain: FloatArray

    def times(self, day_factor: float) -> Loads:
        """The same legs on a day that takes so much more of everything."""
        slopes = {
            name: slope if name == "day_factor" else slope * day_factor
            for name, slope in self.slopes.items()
        }
        return Loads(
            self.causes * day_factor,
            self.battery_j * day_factor,
            slopes,
            self.wheel_gain * day_factor,
        )


def leg_loads(legs: Legs, values: Mapping[str, float]) -> Loads:
    """Energies of all legs and their derivatives.

    Parameters
    ----------
    legs : the ride.
    values : parameter values by name, in the units of the configuration file.
    """
    work, slopes = _wheel_work(legs, values)
    demand = sum(work.values())
    rider, pedalling, follows = _rider_work(legs, values, np.asarray(demand))
    net = demand - rider
    pushed, driving, per_sd = _positive_part(net, _fluctuation(legs, values))
    braked = pushed - net
    efficiency = values["drivetrain_efficiency"]
    returned = values.get("regenerative_share", 0.0)
    moving_s = np.where(legs.moving, legs.time_s, 0.0)
    square_n2_s, per_pushed = _winding(pushed, legs.distance_m, moving_s)
    per_pushed = 1.0 / efficiency + values["winding_loss_w_n2"] * per_pushed
    gain = driving * per_pushed + (1.0 - driving) * returned * efficiency
    loss = (
        pushed * (1.0 / efficiency - 1.0)
        + braked * returned * (1.0 - efficiency)
        + values["fixed_loss_w"] * moving_s
        + values["winding_loss_w_n2"] * square_n2_s
    )
    auxiliary = values["auxiliary_w"] * legs.powered_s
    brakes = braked * (1.0 - returned)
    causes = np.stack([*work.values(), brakes, loss, auxiliary, -rider])
    gain = np.where(follows, 0.0, gain)  # a rider who gives all takes up every change of demand
    slopes = {name: gain * slope for name, slope in slopes.items()}
    # More fluctuation means more driving and as much more braking.
    per_fluctuation = (per_pushed - returned * efficiency) * per_sd * legs.distance_m
    slopes["mass_kg"] += per_fluctuation * values["unsteadiness_m_s2"]
    slopes["unsteadiness_m_s2"] = per_fluctuation * values["mass_kg"]
    slopes["drivetrain_efficiency"] = -pushed / efficiency**2 - braked * returned
    slopes["fixed_loss_w"] = moving_s
    slopes["winding_loss_w_n2"] = square_n2_s
    slopes["auxiliary_w"] = legs.powered_s
    if "regenerative_share" in values:
        slopes["regenerative_share"] = -braked * efficiency
    if "pedal_power_w" in values:
        slopes["pedal_power_w"] = -gain * pedalling
    slopes["day_factor"] = causes.sum(axis=0)
    return Loads(causes, causes.sum(axis=0), slopes, gain).times(values.get("day_factor", 1.0))


def _winding(
    pushed_j: FloatArray, distance_m: FloatArray, moving_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Squared driving force times duration [N²·s], and its derivative by the work [N·s/m].

    The current follows the force and the winding's heat its square.
    """
    force = np.divide(pushed_j, distance_m, out=np.zeros_like(pushed_j), where=distance_m > 0)
    limited = np.minimum(force, _GREATEST_FORCE_N)
    per_work = np.divide(
        2.0 * limited * moving_s, distance_m, out=np.zeros_like(force), where=distance_m > 0
    )
    return np.square(limited) * moving_s, np.where(force < _GREATEST_FORCE_N, per_work, 0.0)


def _wheel_work(
    legs: Legs, values: Mapping[str, float]
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Work at the wheel by cause [J], and derivatives of its sum."""
    mass = values["mass_kg"]
    ratio = np.array([values[ratio_name(surface)] for surface in legs.surfaces])[legs.surface]
    slope = np.divide(
        legs.rise_m, legs.distance_m, out=np.zeros_like(legs.rise_m), where=legs.distance_m > 0
    )
    per_coefficient = (
        road_load.rolling_force(slope, mass_kg=mass, coefficient=ratio) * legs.distance_m
    )
    rolling = values["rolling_resistance"] * per_coefficient
    still, whole, wind_slopes = _air_work(legs, values)
    height = mass * STANDARD_GRAVITY_M_S2 * legs.rise_m
    inertia = mass + legs.rotating_mass_kg
    speed = 0.5 * inertia * legs.square_speed_change
    work = {
        "rolling": rolling,
        "air": still,
        "wind": whole - still,
        "height": height,
        "speed": speed,
    }
    slopes = {
        "mass_kg": (rolling + height) / mass + 0.5 * legs.square_speed_change,
        "rolling_resistance": per_coefficient,
        "drag_area_m2": whole / values["drag_area_m2"],
        **wind_slopes,
    }
    for number, surface in enumerate(legs.surfaces):
        name = ratio_name(surface)
        slopes[name] = np.where(legs.surface == number, rolling / values[name], 0.0)
    return work, slopes


def _air_work(
    legs: Legs, values: Mapping[str, float]
) -> tuple[FloatArray, FloatArray, dict[str, FloatArray]]:
    """Work against still air and against the wind [J], and the latter's derivatives by the wind."""
    wind = {name: values[name] for name in ("wind_east_m_s", "wind_north_m_s")}
    along = legs.speed_m_s + np.asarray(road_load.headwind(legs.heading_rad, **wind))
    across = np.asarray(road_load.crosswind(legs.heading_rad, **wind))
    still, whole = (
        np.asarray(
            road_load.air_force(
                ahead,
                drag_area_m2=values["drag_area_m2"],
                density_kg_m3=legs.density_kg_m3,
                across_m_s=aside,
            )
        )
        * legs.distance_m
        for ahead, aside in ((legs.speed_m_s, 0.0), (along, across))
    )
    flow = np.maximum(np.hypot(along, across), 1e-9)
    per_square = 0.5 * legs.density_kg_m3 * values["drag_area_m2"] * legs.distance_m
    per_along, per_across = (
        per_square * (flow + along**2 / flow),
        per_square * along * across / flow,
    )
    east, north = np.sin(legs.heading_rad), np.cos(legs.heading_rad)
    slopes = {
        "wind_east_m_s": -per_along * east + per_across * north,
        "wind_north_m_s": -per_along * north - per_across * east,
    }
    return still, whole, slopes


def _fluctuation(legs: Legs, values: Mapping[str, float]) -> FloatArray:
    """Standard deviation of the work at the wheel within a leg [J].

    Small slopes, gusts and the rider's hand make the demand come and go.
    """
    return values["mass_kg"] * values["unsteadiness_m_s2"] * legs.distance_m


def _positive_part(
    net_j: FloatArray, sd_j: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean positive part [J] of a fluctuating balance; derivatives by its mean and its sd.

    A leg in balance drives a little and brakes a little: net·Φ(net/σ) + σ·φ(net/σ) (Clark 1961,
    Oper. Res. 9:145, for the greater of a normal variable and zero).
    """
    ratio = net_j / np.maximum(sd_j, 1e-9)
    driving = ndtr(ratio)
    density = np.exp(-0.5 * np.square(ratio)) / np.sqrt(2.0 * np.pi)
    return net_j * driving + sd_j * density, driving, density


def _rider_work(
    legs: Legs, values: Mapping[str, float], demand: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Work at the pedals [J], its derivative by the assumed power, and where it follows demand.

    An assumed rider pedals while moving and never pushes more than the ride demands.
    """
    if "pedal_power_w" not in values:
        return legs.rider_j, np.zeros_like(demand), np.zeros(len(demand), dtype=bool)
    offered = values["pedal_power_w"] * np.where(legs.moving, legs.time_s, 0.0)
    wanted = np.maximum(demand, 0.0)
    limited = offered > wanted
    per_watt = np.where(limited | ~legs.moving, 0.0, legs.time_s)
    return np.where(limited, wanted, offered), per_watt, limited & (demand > 0.0)
