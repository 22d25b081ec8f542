"""The air along a course, from what is known of the weather."""

from __future__ import annotations

import numpy as np

from wherewatt.allocate.settings import Assumed
from wherewatt.arrays import FloatArray
from wherewatt.ingest.sheet import WeatherSheet
from wherewatt.outlook.course import Course
from wherewatt.physics import air
from wherewatt.units import KELVIN_AT_0_C


def density_along(course: Course, weather: WeatherSheet, assumed: Assumed) -> FloatArray:
    """(k,) air density in the cells of a course [kg/m³].

    What is not known is the standard atmosphere's at that height (ISO 2533:1975).
    """
    middle = (course.height_m[1:] + course.height_m[:-1]) / 2.0
    pressure = np.asarray(air.standard_pressure(middle))
    if weather.pressure_hpa is not None:
        pressure = np.full_like(middle, 100.0 * weather.pressure_hpa)
    celsius = np.asarray(air.standard_temperature(middle)) - KELVIN_AT_0_C
    if weather.temperature_c is not None:
        celsius = np.full_like(middle, weather.temperature_c)
    humidity = assumed.humidity
    if weather.humidity_pct is not None:
        humidity = weather.humidity_pct / 100.0
    return np.asarray(air.density(celsius, pressure, humidity=humidity))
