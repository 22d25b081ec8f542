"""The ride sheet: what the owner of a vehicle would know and write down."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .battery import Battery, Discharge
from .vehicle import Vehicle
from .wind import Weather

POUND_KG = 0.45359237
MILE_PER_HOUR_M_S = 0.44704


@dataclass(frozen=True, slots=True)
class RideSheet:
    """Values of a ride sheet, with the errors people make.

    Attributes
    ----------
    vehicle_name : str
    vehicle_mass_kg, rider_mass_kg : float
        As an owner states them, the rider's to a kilogram or two.
    battery_nominal_wh, battery_nominal_v : float
        As printed on the pack.
    regenerative_braking : bool
    temperature_c, wind_speed_m_s, wind_from_deg : float
        Forecast; the wind at 10 m.
    pressure_hpa, humidity_pct : float
        Forecast at the place of the ride; NaN where not noted.
    wall_energy_wh : float
        Energy from the wall to charge back to where the ride began.
    metered_wh : float
        What a meter in the pack's lead counted over the ride.
    """

    vehicle_name: str
    vehicle_mass_kg: float
    battery_nominal_wh: float
    battery_nominal_v: float
    regenerative_braking: bool
    rider_mass_kg: float
    temperature_c: float
    pressure_hpa: float
    humidity_pct: float
    wind_speed_m_s: float
    wind_from_deg: float
    wall_energy_wh: float
    metered_wh: float

    def as_toml(self, *, recharge: bool, metered: bool, imperial: bool) -> str:
        """Write the sheet as TOML.

        Parameters
        ----------
        recharge, metered : bool
            Whether to tell the wall energy; whether to tell the pack meter.
        imperial : bool
            Whether to write pounds, miles per hour and degrees Fahrenheit.
        """
        vehicle: dict[str, object] = {
            "name": self.vehicle_name,
            **_mass(self.vehicle_mass_kg, imperial),
            "battery_nominal_wh": self.battery_nominal_wh,
            "battery_nominal_v": self.battery_nominal_v,
            "regenerative_braking": self.regenerative_braking,
        }
        weather: dict[str, object] = {}
        if imperial:
            weather["temperature_f"] = round(32.0 + 1.8 * self.temperature_c)
            weather["wind_speed_mph"] = round(self.wind_speed_m_s / MILE_PER_HOUR_M_S)
        else:
            weather["temperature_c"] = self.temperature_c
            weather["wind_speed_m_s"] = self.wind_speed_m_s
        weather["wind_from_deg"] = self.wind_from_deg
        if not math.isnan(self.pressure_hpa):
            weather |= {"pressure_hpa": self.pressure_hpa, "humidity_pct": self.humidity_pct}
        tables = {
            "vehicle": vehicle,
            "rider": _mass(self.rider_mass_kg, imperial),
            "weather": weather,
        }
        put_back: dict[str, object] = {}
        if recharge:
            put_back["wall_energy_wh"] = self.wall_energy_wh
        if metered:
            put_back["metered_wh"] = self.metered_wh
        if put_back:
            tables["recharge"] = put_back
        return "\n".join(_table(name, values) for name, values in tables.items())


def _mass(mass_kg: float, imperial: bool) -> dict[str, object]:
    return {"mass_lb": round(mass_kg / POUND_KG)} if imperial else {"mass_kg": mass_kg}


def _table(name: str, values: dict[str, object]) -> str:
    lines = [f"[{name}]"]
    for key, value in values.items():
        match value:
            case bool():
                text = "true" if value else "false"
            case str():
                text = f'"{value}"'
            case _:
                text = str(value)
        lines.append(f"{key} = {text}")
    return "\n".join(lines) + "\n"


def note_down(
    vehicle: Vehicle,
    battery: Battery,
    pack: Discharge,
    used_wh: float,
    weather: Weather,
    rng: np.random.Generator,
) -> RideSheet:
    """Fill in a ride sheet as an owner would.

    Parameters
    ----------
    vehicle, battery, pack, weather
        The truth.
    used_wh : float
        True energy taken from the terminals over the ride.
    rng : numpy.random.Generator
        Source of randomness: forecast errors, scales, charger losses.
    """
    # Charging must return the charge at a voltage above the open-circuit one.
    into_pack_wh = used_wh + pack.heat_wh * (1.0 + rng.uniform(0.2, 0.5))
    wall_wh = into_pack_wh / rng.uniform(0.84, 0.92) * (1.0 + rng.normal(0.0, 0.01))
    forecast_m_s = weather.wind_speed_m_s * rng.lognormal(0.0, 0.18) + rng.normal(0.0, 0.4)
    from_deg = (weather.wind_from_deg + rng.normal(0.0, 18.0)) % 360.0
    tells_air = rng.random() < 0.5
    return RideSheet(
        vehicle_name=vehicle.name,
        vehicle_mass_kg=round(vehicle.mass_kg + rng.normal(0.0, 0.4), 1),
        battery_nominal_wh=round(battery.nominal_wh),
        battery_nominal_v=vehicle.nominal_v,
        regenerative_braking=vehicle.regen_force_n > 0.0,
        rider_mass_kg=round(vehicle.rider_mass_kg + rng.normal(0.0, 1.2)),
        temperature_c=round(weather.temperature_c + rng.normal(0.0, 1.2)),
        pressure_hpa=round(weather.pressure_hpa) if tells_air else math.nan,
        humidity_pct=round(weather.humidity_pct / 5.0) * 5 if tells_air else math.nan,
        wind_speed_m_s=round(max(0.0, forecast_m_s), 1),
        wind_from_deg=round(from_deg / 10.0) * 10 % 360,
        wall_energy_wh=round(wall_wh / 5.0) * 5 if rng.random() < 0.3 else round(wall_wh),
        metered_wh=round(used_wh * (1.0 + rng.normal(0.0, 0.01)), 1),
    )
