"""Air: density, standard pressure, wind near the ground."""

from __future__ import annotations

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.units import KELVIN_AT_0_C

ArrayLike = FloatArray | float

_MOLAR_GAS_CONSTANT = 8.314472  # J/(mol K), the value CIPM-2007 was published with
_MOLAR_MASS_DRY_AIR = 28.96546e-3  # kg/mol at a CO2 fraction of 400 µmol/mol
_MOLAR_MASS_RATIO_DEFECT = 0.3780  # 1 − M_water/M_dry_air

_EARTH_RADIUS_M = 6356766.0
_LAPSE_K_M = 0.0065
_SEA_LEVEL_K = 288.15
_SEA_LEVEL_PA = 101325.0
_BAROMETRIC_EXPONENT = 9.80665 * 0.0289644 / (8.31432 * _LAPSE_K_M)


def saturation_vapour_pressure(temperature_c: ArrayLike) -> ArrayLike:
    """Saturation pressure of water vapour over water [Pa].

    Picard, Davis, Gläser and Fujii (2008), Metrologia 45:149, equation A1.1; from −10 to 40 °C.
    """
    kelvin = temperature_c + KELVIN_AT_0_C
    return np.exp(
        1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin
    )


def density(
    temperature_c: ArrayLike, pressure_pa: ArrayLike, *, humidity: ArrayLike = 0.5
) -> ArrayLike:
    """Density of moist air [kg/m³].

    CIPM-2007: Picard, Davis, Gläser and Fujii (2008), Metrologia 45:149, equation 1, with
    400 µmol/mol of carbon dioxide.

    Parameters
    ----------
    temperature_c : air temperature [°C].
    pressure_pa : absolute pressure [Pa].
    humidity : relative humidity as a fraction [1]; one half where nothing is known.
    """
    kelvin = temperature_c + KELVIN_AT_0_C
    celsius = temperature_c
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * celsius**2
    vapour = humidity * enhancement * saturation_vapour_pressure(celsius) / pressure_pa
    ratio = pressure_pa / kelvin
    compressibility = (
        1.0
        - ratio
        * (
            1.58123e-6
            - 2.9331e-8 * celsius
            + 1.1043e-10 * celsius**2
            + (5.707e-6 - 2.051e-8 * celsius) * vapour
            + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    dry = pressure_pa * _MOLAR_MASS_DRY_AIR / (compressibility * _MOLAR_GAS_CONSTANT * kelvin)
    return dry * (1.0 - _MOLAR_MASS_RATIO_DEFECT * vapour)


def standard_pressure(height_m: ArrayLike) -> ArrayLike:
    """Pressure of the standard atmosphere at a geometric height [Pa].

    ISO 2533:1975 (the same as the US Standard Atmosphere 1976 below 11 km), with the geometric
    height turned into geopotential height first.
    """
    return _SEA_LEVEL_PA * (standard_temperature(height_m) / _SEA_LEVEL_K) ** _BAROMETRIC_EXPONENT


def standard_temperature(height_m: ArrayLike) -> ArrayLike:
    """Temperature of the standard atmosphere at a geometric height [K] (ISO 2533:1975)."""
    geopotential = _EARTH_RADIUS_M * height_m / (_EARTH_RADIUS_M + height_m)
    return _SEA_LEVEL_K - _LAPSE_K_M * geopotential


def log_law_ratio(
    height_m: ArrayLike, *, roughness_m: float, reference_m: float = 10.0
) -> ArrayLike:
    """Mean wind at a height over the mean wind at the reference height [1].

    Logarithmic law over terrain of roughness length `roughness_m` (Davenport classes: Wieringa
    1992, J. Wind Eng. Ind. Aerodyn. 41:357). Not valid below about twenty roughness lengths.
    """
    return np.log(height_m / roughness_m) / np.log(reference_m / roughness_m)
