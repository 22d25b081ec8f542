"""A ride that is asked about: a course, a pace and a day, and the energy it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.loads import Legs, Loads, leg_loads
from wherewatt.allocate.weather import density_between
from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.outlook.course import Course
from wherewatt.outlook.drive import Drive, drive
from wherewatt.outlook.settings import Pace
from wherewatt.outlook.vehicle import Known
from wherewatt.physics import road_load
from wherewatt.units import STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, slots=True, eq=False)
class Scenario:
    """A ride that is asked about.

    Parameters
    ----------
    course : with its stops.
    pace : how the rider rides.
    more_mass_kg : beside what the parameters say [kg].
    more_headwind_m_s : at rider height, against the way all along, beside the wind [m/s].
    """

    course: Course
    pace: Pace
    more_mass_kg: float = 0.0
    more_headwind_m_s: float = 0.0

    def values(self, values: Mapping[str, float]) -> dict[str, float]:
        """Parameter values with the added mass."""
        return {**values, "mass_kg": values["mass_kg"] + self.more_mass_kg}

    def loads(self, legs: Legs, values: Mapping[str, float]) -> Loads:
        """Energies of the legs of this ride at some parameters (`allocate.loads.leg_loads`)."""
        changed = self.values(values)
        if self.more_headwind_m_s:
            legs = _against(legs, changed, self.more_headwind_m_s)
        return leg_loads(legs, changed)


def ride_scenario(scenario: Scenario, known: Known, config: Config) -> Drive:
    """How the ride goes at the most probable parameters."""
    return drive(
        scenario.course,
        scenario.pace,
        scenario.values(known.values),
        density_kg_m3=density_between(scenario.course.height_m, known.day.weather, config.assumed),
        rotating_mass_kg=config.assumed.rotating_mass_kg,
        more_headwind_m_s=scenario.more_headwind_m_s,
    )


def _against(legs: Legs, values: Mapping[str, float], more_m_s: float) -> Legs:
    """The legs with more headwind on each of them, whatever their direction.

    The loads know wind as one vector. So the added work of the air enters as a rise that takes
    the same work; the normal force changes by less than a thousandth.
    """
    wind = {name: values[name] for name in ("wind_east_m_s", "wind_north_m_s")}
    headwind = road_load.headwind(legs.heading_rad, **wind)
    crosswind = road_load.crosswind(legs.heading_rad, **wind)
    before, after = (
        np.asarray(
            road_load.air_force(
                legs.speed_m_s + headwind + more,
                drag_area_m2=values["drag_area_m2"],
                density_kg_m3=legs.density_kg_m3,
                across_m_s=crosswind,
            )
        )
        for more in (0.0, more_m_s)
    )
    weight: float = values["mass_kg"] * STANDARD_GRAVITY_M_S2
    rise: FloatArray = (after - before) * legs.distance_m / weight
    return replace(legs, rise_m=legs.rise_m + rise)
