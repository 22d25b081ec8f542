"""Air against published tables."""

from __future__ import annotations

import pytest

from wherewatt.physics import air
from wherewatt.units import KELVIN_AT_0_C

# ISO 2533:1975, the same as the US Standard Atmosphere 1976 below 11 km: geometric height [m],
# temperature [K], pressure [Pa], density [kg/m³]; recomputed with two independent libraries
# (ambiance, fluids). The printed table agrees to its digits: value from memory.
STANDARD_ATMOSPHERE = [
    (0.0, 288.1500, 101325.0, 1.225000),
    (500.0, 284.9003, 95461.3, 1.167273),
    (1000.0, 281.6510, 89876.3, 1.111660),
    (1500.0, 278.4023, 84559.7, 1.058104),
    (2000.0, 275.1541, 79501.4, 1.006554),
    (3000.0, 268.6592, 70121.1, 0.909254),
]

# CIPM-2007 (Picard, Davis, Gläser and Fujii 2008, Metrologia 45:149): temperature [°C], pressure
# [Pa], relative humidity, density [kg/m³]; recomputed and confirmed to 4e-5 (9e-5 below zero) by
# an independent equation of state (CoolProp), the last column.
MOIST_AIR = [
    (15.0, 101325.0, 0.0, 1.225521, 1.225567),
    (20.0, 101325.0, 0.5, 1.199314, 1.199359),
    (20.0, 100000.0, 0.5, 1.183557, 1.183601),
    (23.0, 101325.0, 0.5, 1.186084, 1.186129),
    (0.0, 101325.0, 0.5, 1.291578, 1.291625),
    (30.0, 101325.0, 0.8, 1.150012, 1.150056),
    (35.0, 95000.0, 0.3, 1.067026, 1.067065),
    (-10.0, 101325.0, 0.5, 1.341657, 1.341773),
    (5.0, 90000.0, 0.7, 1.124857, 1.124897),
]

# Log law over the Davenport classes (Wieringa 1992, J. Wind Eng. Ind. Aerodyn. 41:357):
# roughness length [m], wind at 1.0 m and at 1.5 m over wind at 10 m.
LOG_LAW = [
    (0.0002, 0.7872, 0.8247),
    (0.005, 0.6971, 0.7504),
    (0.03, 0.6036, 0.6734),
    (0.10, 0.5000, 0.5880),
    (0.25, 0.3758, 0.4857),
    (0.5, 0.2314, 0.3667),
]


@pytest.mark.parametrize(("height_m", "kelvin", "pascal", "density"), STANDARD_ATMOSPHERE)
def test_standard_atmosphere(height_m: float, kelvin: float, pascal: float, density: float) -> None:
    assert air.standard_temperature(height_m) == pytest.approx(kelvin, abs=6e-5)
    assert air.standard_pressure(height_m) == pytest.approx(pascal, rel=1e-6)
    # The standard's dry air is an ideal gas, CIPM's a real one: 1e-3 apart at most.
    dry = air.density(kelvin - KELVIN_AT_0_C, pascal, humidity=0.0)
    assert dry == pytest.approx(density, rel=1e-3)


def test_standard_pressure_per_metre_at_sea_level() -> None:
    # 8.3242 m/hPa at 288.15 K and 1013.25 hPa; recomputed independently.
    metres_per_hpa = -2.0 / (air.standard_pressure(1.0) - air.standard_pressure(-1.0)) * 100.0
    assert metres_per_hpa == pytest.approx(8.3242, abs=2e-4)


@pytest.mark.parametrize(("celsius", "pascal", "humidity", "density", "other"), MOIST_AIR)
def test_moist_air(
    celsius: float, pascal: float, humidity: float, density: float, other: float
) -> None:
    computed = air.density(celsius, pascal, humidity=humidity)
    # 1e-6 and the printed digits; the published coefficient 0.3780 is rounded too.
    assert computed == pytest.approx(density, rel=2e-6)
    assert computed == pytest.approx(other, rel=1e-4)


def test_saturation_vapour_pressure() -> None:
    # CIPM-2007 at 20 °C: 2339.163 Pa (without the enhancement factor 1.004026).
    assert air.saturation_vapour_pressure(20.0) == pytest.approx(2339.163, abs=0.001)


def test_sensitivity_of_moist_air() -> None:
    # At 20 °C, 101 325 Pa, 50 %: −0.369 %/K, +0.0992 %/hPa, −0.0873 % per 10 % of humidity.
    here = air.density(20.0, 101325.0, humidity=0.5)
    per_kelvin = (air.density(20.1, 101325.0) - air.density(19.9, 101325.0)) / 0.2 / here
    per_hpa = (air.density(20.0, 101425.0) - here) / here
    per_humidity = (air.density(20.0, 101325.0, humidity=0.6) - here) / here
    assert 100.0 * per_kelvin == pytest.approx(-0.369, abs=1e-3)
    assert 100.0 * per_hpa == pytest.approx(0.0992, abs=1e-4)
    assert 100.0 * per_humidity == pytest.approx(-0.0873, abs=2e-4)


@pytest.mark.parametrize(("roughness_m", "at_1_m", "at_1_5_m"), LOG_LAW)
def test_log_law(roughness_m: float, at_1_m: float, at_1_5_m: float) -> None:
    assert air.log_law_ratio(1.0, roughness_m=roughness_m) == pytest.approx(at_1_m, abs=6e-5)
    assert air.log_law_ratio(1.5, roughness_m=roughness_m) == pytest.approx(at_1_5_m, abs=6e-5)
