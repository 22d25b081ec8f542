"""True weather along a ride: wind that turns, gusts, and air of a certain weight."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .noise import FloatArray, ou_at

WIND_STEP_S = 1.0


@dataclass(frozen=True, slots=True)
class Weather:
    """The air of one ride.

    Wind *from* is where it blows from, clockwise from north, as forecasts say it; wind *east*
    and *north* are the components of the motion of the air, positive towards east and north.

    Attributes
    ----------
    temperature_c, pressure_hpa, humidity_pct : float
        State of the air at the start of the ride; pressure at the start's own height.
    wind_speed_m_s, wind_from_deg : float
        Mean wind at 10 m over open ground.
    east_m_s, north_m_s : array, shape (n,)
        Wind at 10 m with its turning and gusts, one value per second from the start.
    """

    temperature_c: float
    pressure_hpa: float
    humidity_pct: float
    wind_speed_m_s: float
    wind_from_deg: float
    east_m_s: FloatArray
    north_m_s: FloatArray

    @property
    def density_kg_m3(self) -> float:
        """Density of the moist air at the start [kg/m3], ideal gases with Magnus vapour."""
        kelvin = self.temperature_c + 273.15
        saturation_pa = 611.2 * math.exp(17.62 * self.temperature_c / (243.12 + self.temperature_c))
        vapour_pa = self.humidity_pct / 100.0 * saturation_pa
        return (self.pressure_hpa * 100.0 - vapour_pa) / (287.05 * kelvin) + vapour_pa / (
            461.5 * kelvin
        )


def draw_weather(
    rng: np.random.Generator, wind_m_s: tuple[float, float], height_m: float, duration_s: float
) -> Weather:
    """Draw the weather of a ride.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    wind_m_s : (float, float)
        Range of the mean wind speed at 10 m [m/s].
    height_m : float
        Height of the start, which sets the pressure [m].
    duration_s : float
        How long the wind must last [s].
    """
    mean_m_s = rng.uniform(*wind_m_s)
    from_deg = rng.uniform(0.0, 360.0)
    time_s = np.arange(0.0, duration_s, WIND_STEP_S)
    # Gusts of seconds and of minutes; turbulence intensity of 15 to 25 %, usual over open land.
    intensity = rng.uniform(0.15, 0.25)
    speed = mean_m_s * (
        1.0
        + ou_at(rng, time_s, 8.0, 0.8 * intensity)
        + ou_at(rng, time_s, 90.0, 0.6 * intensity)
        + ou_at(rng, time_s, 1500.0, 0.12)
    )
    turn_rad = ou_at(rng, time_s, 1200.0, math.radians(12.0)) + ou_at(
        rng, time_s, 15.0, math.radians(10.0)
    )
    towards_rad = math.radians(from_deg + 180.0) + turn_rad
    sea_level_hpa = rng.normal(1015.0, 7.0)
    return Weather(
        temperature_c=float(rng.uniform(4.0, 29.0)),
        pressure_hpa=float(sea_level_hpa * math.exp(-height_m / 8_400.0)),
        humidity_pct=float(rng.uniform(40.0, 90.0)),
        wind_speed_m_s=float(mean_m_s),
        wind_from_deg=float(from_deg),
        east_m_s=np.maximum(speed, 0.0) * np.sin(towards_rad),
        north_m_s=np.maximum(speed, 0.0) * np.cos(towards_rad),
    )
