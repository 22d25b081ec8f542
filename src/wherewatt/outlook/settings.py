"""What the outlook room can be told in config/reference.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class ReferenceRide:
    """The ride on which vehicles are put on equal terms; the reasons stand in the file.

    Parameters
    ----------
    distance_m : its length [m].
    ascent_m_per_km : ascent, and as much descent, per kilometre [m/km].
    hill_m : length of one smooth hill, up and down [m].
    height_m : where it starts, above the sea [m].
    surface : one of the known surfaces, all the way.
    rider_mass_kg : rider with kit [kg].
    temperature_c : of the air [°C].
    wind_speed_m_s : wind at 10 m [m/s]; the ride turns once through all directions.
    """

    distance_m: float
    ascent_m_per_km: float
    hill_m: float
    height_m: float
    surface: str
    rider_mass_kg: float
    temperature_c: float
    wind_speed_m_s: float


@dataclass(frozen=True, slots=True)
class Pace:
    """How a rider rides, and what the motor lets them; the reasons stand in the file.

    Parameters
    ----------
    top_speed_m_s : speed held on a good level road [m/s].
    acceleration_m_s2, deceleration_m_s2 : from and to a stop [m/s²].
    sideways_m_s2 : comfortable in bends [m/s²].
    coast_share : how far above the speed held a descent may carry before the brakes come on [1].
    stops_per_km : where a course does not say where it stops [1/km].
    stop_s : duration of a stop [s].
    wheel_power_w, wheel_force_n : the most the motor gives at the wheel [W], [N].
    walk_m_s : slower than this nobody rides: the vehicle is pushed [m/s].
    slower_on : share of the top speed held on a surface; 1 on those not named.
    """

    top_speed_m_s: float
    acceleration_m_s2: float
    deceleration_m_s2: float
    sideways_m_s2: float
    coast_share: float
    stops_per_km: float
    stop_s: float
    wheel_power_w: float
    wheel_force_n: float
    walk_m_s: float
    slower_on: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OutlookSettings:
    """How a prediction is made; the reasons stand in the file.

    Parameters
    ----------
    cell_m : length of the cells of a course [m].
    loop_m : a course that ends this near its start is a loop [m].
    spread_share : of the standard deviations that the handbook and the rides leave, once rides of
        the vehicle are known [1].
    draws : number of draws for questions that are not linear; even.
    point_m : how finely the draws look along the way [m].
    seed : of the draws.
    handbook_in_common : share of the handbook's errors that is the same for every vehicle [1].
    reserve_pct : charge that is to be left [%].
    table_rows : rows of the table along a course, about.
    more_mass_kg, more_speed_m_s, more_headwind_m_s, other_surface : the steps of the table of
        what a change is worth [kg], [m/s], [m/s], a known surface.
    """

    cell_m: float
    loop_m: float
    spread_share: float
    draws: int
    point_m: float
    seed: int
    handbook_in_common: float
    reserve_pct: float
    table_rows: int
    more_mass_kg: float
    more_speed_m_s: float
    more_headwind_m_s: float
    other_surface: str
