"""A drive with some of its causes switched off: what it would have been like without them.

Off means: as on the neutral ride, which is level, without wind, on one surface, steadily at one
speed, with one rider who does not pedal, at one air density and temperature.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from wherewatt.allocate.loads import Legs


class Cause(Enum):
    """Why two drives took different energy over the same distance; the values are for files."""

    WIND = "wind"
    SURFACE = "surface"
    HEIGHT = "height"
    STOPS = "stops"
    SPEED = "speed"
    RIDER = "rider"
    WEATHER = "weather"
    DAY = "day"
    UNEXPLAINED = "unexplained"
    VEHICLE = "vehicle"


# Causes that can be switched off by changing the drive itself.
OF_THE_DRIVE = (
    Cause.WIND,
    Cause.SURFACE,
    Cause.HEIGHT,
    Cause.STOPS,
    Cause.SPEED,
    Cause.RIDER,
    Cause.WEATHER,
)


@dataclass(frozen=True, slots=True)
class Neutral:
    """The neutral ride.

    Parameters
    ----------
    surface : its only surface.
    speed_m_s : its only speed [m/s].
    mass_kg : rider and vehicle [kg].
    density_kg_m3 : of the air [kg/m³].
    rolling_factor : rolling resistance at its temperature over that on the day of the drive [1].
    """

    surface: str
    speed_m_s: float
    mass_kg: float
    density_kg_m3: float
    rolling_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class SwitchedValues:
    """Parameter values with causes switched off, and how far they still follow the real ones.

    Parameters
    ----------
    values : by name.
    follows : derivative by the value before; one where none is given.
    """

    values: Mapping[str, float]
    follows: Mapping[str, float]


def switched_values(
    values: Mapping[str, float], off: Collection[Cause], neutral: Neutral
) -> SwitchedValues:
    """Parameter values with some causes switched off."""
    changed = dict(values)
    follows: dict[str, float] = {}
    if Cause.WIND in off:
        changed |= {"wind_east_m_s": 0.0, "wind_north_m_s": 0.0}
        follows |= {"wind_east_m_s": 0.0, "wind_north_m_s": 0.0}
    if Cause.RIDER in off:
        changed["mass_kg"], follows["mass_kg"] = neutral.mass_kg, 0.0
        if "pedal_power_w" in values:
            changed["pedal_power_w"], follows["pedal_power_w"] = 0.0, 0.0
    if Cause.WEATHER in off:
        changed["rolling_resistance"] *= neutral.rolling_factor
        follows["rolling_resistance"] = neutral.rolling_factor
    return SwitchedValues(changed, follows)


def switched_legs(legs: Legs, off: Collection[Cause], neutral: Neutral) -> Legs:
    """The legs of a drive with some causes switched off.

    The pace of a drive is one speed, at which the air alone would have taken as much; how its
    speed goes up and down around that belongs to the stops. So a change of pace stretches the whole
    course of the speed, kinetic energy included, and without stops all of it is ridden at the pace.
    """
    if Cause.SPEED in off or Cause.STOPS in off:
        legs = _other_speed(legs, off, neutral)
    if Cause.HEIGHT in off:
        legs = replace(legs, rise_m=np.zeros_like(legs.rise_m))
    if Cause.SURFACE in off:
        legs = _on_one_surface(legs, neutral.surface)
    if Cause.RIDER in off:
        legs = replace(legs, rider_j=np.zeros_like(legs.rider_j))
    if Cause.WEATHER in off:
        legs = replace(legs, density_kg_m3=np.full_like(legs.density_kg_m3, neutral.density_kg_m3))
    return legs


def pace(legs: Legs) -> float:
    """Root mean square of the speed over the way [m/s]."""
    square = float(legs.distance_m @ np.square(legs.speed_m_s))
    return float(np.sqrt(square / legs.distance_m.sum()))


def _other_speed(legs: Legs, off: Collection[Cause], neutral: Neutral) -> Legs:
    own = pace(legs)
    wanted = neutral.speed_m_s if Cause.SPEED in off else own
    if Cause.STOPS not in off:
        faster = wanted / own
        slower = np.where(legs.moving, 1.0 / faster, 1.0)  # a stop lasts as long as before
        return replace(
            legs,
            speed_m_s=legs.speed_m_s * faster,
            time_s=legs.time_s * slower,
            powered_s=legs.powered_s * slower,
            square_speed_change=legs.square_speed_change * faster**2,
        )
    time = legs.distance_m / wanted
    return replace(
        legs,
        speed_m_s=np.full_like(legs.speed_m_s, wanted),
        time_s=time,
        powered_s=time,
        square_speed_change=np.zeros_like(time),
        moving=legs.distance_m > 0.0,
    )


def _on_one_surface(legs: Legs, surface: str) -> Legs:
    if surface not in legs.surfaces:
        legs = replace(legs, surfaces=(*legs.surfaces, surface))
    number = legs.surfaces.index(surface)
    return replace(legs, surface=np.full_like(legs.surface, number))
