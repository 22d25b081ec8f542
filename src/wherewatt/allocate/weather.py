"""The air of a day, from what is known of the weather."""

from __future__ import annotations

import numpy as np

from wherewatt.allocate.settings import Assumed
from wherewatt.arrays import FloatArray
from wherewatt.ingest.sheet import WeatherSheet
from wherewatt.physics import air
from wherewatt.units import KELVIN_AT_0_C


def density_between(height_m: FloatArray, weather: WeatherSheet, assumed: Assumed) -> FloatArray:
    """(n−1,) air density between n heights [kg/m³].

    What is not known is the standard atmosphere's at that height (ISO 2533:1975).
    """
    middle = (height_m[1:] + height_m[:-1]) / 2.0
    pressure: FloatArray | float
    celsius: FloatArray | float
    if weather.pressure_hpa is not None:
        pressure = 100.0 * weather.pressure_hpa
    else:
        pressure = np.asarray(air.standard_pressure(middle))
    if weather.temperature_c is not None:
        celsius = weather.temperature_c
    else:
        celsius = np.asarray(air.standard_temperature(middle)) - KELVIN_AT_0_C
    humidity = assumed.humidity
    if weather.humidity_pct is not None:
        humidity = weather.humidity_pct / 100.0
    density = air.density(celsius, pressure, humidity=humidity)
    return np.array(np.broadcast_to(density, middle.shape))
