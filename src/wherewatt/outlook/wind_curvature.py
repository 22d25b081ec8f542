"""What an unknown wind costs in itself.

The air's force grows with the square of the speed through it. On a way out and home the first order
of a wind's error cancels: what is lost one way is won the other. What remains is its square,
½·ρ·CdA·w², which is never won: so who knows nothing of the wind must not count on a calm.
"""

from __future__ import annotations

import numpy as np

from wherewatt.allocate.loads import leg_loads
from wherewatt.allocate.parameters import slope_of
from wherewatt.arrays import FloatArray
from wherewatt.outlook.demand import Demand
from wherewatt.outlook.draws import Draws, Used
from wherewatt.physics import road_load
from wherewatt.units import JOULES_PER_WATT_HOUR

_EAST, _NORTH = "wind_east_m_s", "wind_north_m_s"


def with_wind_squared(used: Used, draws: Draws, demand: Demand) -> Used:
    """Energy along possible rides with the second order of their winds.

    Parameters
    ----------
    used : to first order.
    draws : the draws it was made with.
    demand : of the ride.
    """
    per_square = np.stack(
        [np.interp(used.at_m, demand.drive.at_m, row) for row in _per_square(demand)]
    )
    east, north = (_off(draws, name) for name in (_EAST, _NORTH))
    squares = np.stack([east**2, 2.0 * east * north, north**2], axis=1)
    return Used(used.at_m, used.time_s, used.wh + squares @ per_square)


def _per_square(demand: Demand) -> FloatArray:
    """(3, n+1) energy used by the points of a ride per squared wind [Wh/(m/s)²].

    For east times east, east times north and north times north: half of the second derivative of
    the air's work, times what the battery gives for work at the wheel.
    """
    legs, values = demand.drive.legs, demand.known.values
    gain = leg_loads(legs, values).wheel_gain
    headwind = road_load.headwind(
        legs.heading_rad, wind_east_m_s=values[_EAST], wind_north_m_s=values[_NORTH]
    )
    against = np.sign(legs.speed_m_s + headwind)
    bend = 0.5 * legs.density_kg_m3 * values["drag_area_m2"] * legs.distance_m * against * gain
    east, north = np.sin(legs.heading_rad), np.cos(legs.heading_rad)
    rows = np.stack([east**2, east * north, north**2]) * bend / JOULES_PER_WATT_HOUR
    return np.hstack([np.zeros((3, 1)), np.cumsum(rows, axis=1)])


def _off(draws: Draws, name: str) -> FloatArray:
    """(d,) how far one component of the wind is from its most probable value [m/s]."""
    number = draws.known.parameters.index[name]
    prior = draws.known.parameters.items[number].prior
    off = draws.scores[:, number] - draws.known.scores[number]
    return np.asarray(off * slope_of(prior, float(draws.known.scores[number])))
