"""The reference ride: the same way, pace, rider and weather for every vehicle."""

from __future__ import annotations

from collections.abc import Mapping

from wherewatt.allocate.weather import density_between
from wherewatt.config import Config
from wherewatt.ingest.sheet import WeatherSheet
from wherewatt.outlook.drive import Drive, drive
from wherewatt.outlook.plans import reference_course
from wherewatt.outlook.switching import Neutral


def reference_values(
    values: Mapping[str, float], mass_kg: float, config: Config
) -> dict[str, float]:
    """Parameter values of a vehicle on the reference ride: its rider and wind, nobody pedals."""
    blowing_m_s = config.reference.wind_speed_m_s * config.assumed.wind_height_ratio
    ours = {"mass_kg": mass_kg, "wind_east_m_s": 0.0, "wind_north_m_s": blowing_m_s}
    return {name: of for name, of in values.items() if name != "pedal_power_w"} | ours


def reference_drive(values: Mapping[str, float], config: Config) -> Drive:
    """The reference ride as a vehicle of these values rides it."""
    course = reference_course(config.reference, config.outlook)
    return drive(
        course.with_stops(config.pace.stops_per_km),
        config.pace,
        values,
        density_kg_m3=density_between(course.height_m, _weather(config), config.assumed),
        rotating_mass_kg=config.assumed.rotating_mass_kg,
    )


def _weather(config: Config) -> WeatherSheet:
    return WeatherSheet(temperature_c=config.reference.temperature_c)


def neutral_ride(mass_kg: float, rolling_factor: float, config: Config) -> Neutral:
    """The neutral ride: the reference ride without its wind, hills and stops.

    Parameters
    ----------
    mass_kg : vehicle with the reference rider [kg].
    rolling_factor : rolling resistance on the reference day over that on the day of a ride [1].
    """
    course = reference_course(config.reference, config.outlook)
    density = density_between(course.height_m, _weather(config), config.assumed)
    return Neutral(
        surface=config.reference.surface,
        speed_m_s=config.pace.top_speed_m_s,
        mass_kg=mass_kg,
        density_kg_m3=float(density[0]),
        rolling_factor=rolling_factor,
    )
