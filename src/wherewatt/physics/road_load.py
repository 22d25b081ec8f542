"""Road load: the forces on a vehicle that moves along a road.

The balance at the wheel is that of Martin, Milliken, Cobb, McFadden and Coggan (1998),
J. Appl. Biomech. 14:276: rolling, air, gravity and change of kinetic energy.
"""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.units import STANDARD_GRAVITY_M_S2

ArrayLike = FloatArray | float


def rolling_force(
    grade: ArrayLike,
    *,
    mass_kg: float,
    coefficient: ArrayLike,
    gravity: float = STANDARD_GRAVITY_M_S2,
) -> ArrayLike:
    """Rolling resistance [N]: coefficient × normal force, on a road of slope `grade` (rise/run).

    The cosine of the slope's angle is 1/√(1 + grade²).
    """
    return coefficient * (mass_kg * gravity) / np.sqrt(1.0 + np.square(grade))


def gravity_force(
    grade: ArrayLike, *, mass_kg: float, gravity: float = STANDARD_GRAVITY_M_S2
) -> ArrayLike:
    """Component of the weight along the road [N], positive uphill."""
    return mass_kg * gravity * grade / np.sqrt(1.0 + np.square(grade))


def air_force(
    air_speed_m_s: ArrayLike,
    *,
    drag_area_m2: float,
    density_kg_m3: ArrayLike,
    across_m_s: ArrayLike = 0.0,
) -> ArrayLike:
    """Aerodynamic drag along the road [N]; negative where the wind pushes.

    Drag points along the whole flow and grows with its square, so a wind from the side adds to it:
    ½·ρ·CdA·|v|·v_along, for a body whose drag area is alike from all sides, as an upright rider's
    nearly is (Isvan 2015, J. Sci. Cycling 4(1), from memory).

    Parameters
    ----------
    air_speed_m_s, across_m_s : speed through the air along the road and across it [m/s].
    """
    flow = np.hypot(air_speed_m_s, across_m_s)
    return 0.5 * density_kg_m3 * drag_area_m2 * air_speed_m_s * flow


def kinetic_energy(
    speed_m_s: ArrayLike, *, mass_kg: float, rotating_mass_kg: float = 0.0
) -> ArrayLike:
    """Kinetic energy [J]; `rotating_mass_kg` is the wheels' inertia over their radius squared."""
    return 0.5 * (mass_kg + rotating_mass_kg) * np.square(speed_m_s)


def crosswind(
    heading_rad: ArrayLike, *, wind_east_m_s: ArrayLike, wind_north_m_s: ArrayLike
) -> ArrayLike:
    """Wind across the direction of travel [m/s], positive to the right; see `headwind`."""
    return wind_east_m_s * np.cos(heading_rad) - wind_north_m_s * np.sin(heading_rad)


def headwind(
    heading_rad: ArrayLike, *, wind_east_m_s: ArrayLike, wind_north_m_s: ArrayLike
) -> ArrayLike:
    """Wind against the direction of travel [m/s].

    `wind_east_m_s` and `wind_north_m_s` say where the air moves *to* (a wind from the west has
    a positive east component); `heading_rad` is clockwise from north.
    """
    return -(wind_east_m_s * np.sin(heading_rad) + wind_north_m_s * np.cos(heading_rad))
