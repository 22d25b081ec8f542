"""The ride sheet: what the user knows about vehicle, rider, weather and recharge."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wherewatt.errors import ConfigError, SideFileError, nearest_name
from wherewatt.ingest.sidefile import ProblemList, quoted, read_text
from wherewatt.physics.battery import Chemistry
from wherewatt.units import SUFFIXES, Conversion


@dataclass(frozen=True, slots=True)
class VehicleSheet:
    """What is known of the vehicle; None means "not said".

    Parameters
    ----------
    name : free name, or that of a handbook vehicle.
    mass_kg : mass with battery, without rider [kg].
    battery_nominal_wh, battery_nominal_v : as on the label [Wh], [V].
    battery_usable_wh : energy from full to empty as ridden [Wh].
    battery_chemistry : what the cells are made of.
    drag_area_m2 : drag coefficient times frontal area, with rider [m²].
    rolling_resistance : coefficient on smooth asphalt [1].
    drivetrain_efficiency : battery to wheel [1].
    auxiliary_w : lights, display, controller [W].
    regenerative_braking, pedal_assist : whether there is any.
    """

    name: str | None = None
    mass_kg: float | None = None
    battery_nominal_wh: float | None = None
    battery_nominal_v: float | None = None
    battery_usable_wh: float | None = None
    battery_chemistry: Chemistry | None = None
    drag_area_m2: float | None = None
    rolling_resistance: float | None = None
    drivetrain_efficiency: float | None = None
    auxiliary_w: float | None = None
    regenerative_braking: bool | None = None
    pedal_assist: bool | None = None


@dataclass(frozen=True, slots=True)
class RiderSheet:
    """What is known of the rider: `mass_kg` with kit [kg]."""

    mass_kg: float | None = None


@dataclass(frozen=True, slots=True)
class WeatherSheet:
    """What is known of the weather.

    Parameters
    ----------
    temperature_c : air temperature [°C].
    pressure_hpa : at the place, not reduced to sea level [hPa].
    humidity_pct : relative humidity [%].
    wind_speed_m_s : at 10 m above ground [m/s].
    wind_from_deg : direction it comes from, clockwise from north [degree].
    """

    temperature_c: float | None = None
    pressure_hpa: float | None = None
    humidity_pct: float | None = None
    wind_speed_m_s: float | None = None
    wind_from_deg: float | None = None


@dataclass(frozen=True, slots=True)
class RechargeSheet:
    """What is known of the energy used, from outside the ride.

    Parameters
    ----------
    wall_energy_wh : drawn from the wall to fill the battery after the ride [Wh].
    charger_efficiency : wall to battery [1].
    metered_wh : battery energy by a pack meter [Wh].
    """

    wall_energy_wh: float | None = None
    charger_efficiency: float | None = None
    metered_wh: float | None = None


@dataclass(frozen=True, slots=True)
class RideSheet:
    """All of a ride sheet.

    Parameters
    ----------
    vehicle, rider, weather, recharge : what the user states.
    kind : the handbook vehicle of the name stated in `vehicle`; None if there is none.
    """

    vehicle: VehicleSheet = VehicleSheet()
    rider: RiderSheet = RiderSheet()
    weather: WeatherSheet = WeatherSheet()
    recharge: RechargeSheet = RechargeSheet()
    kind: VehicleSheet | None = None


@dataclass(frozen=True, slots=True)
class Range:
    """Legal values of a number, ends included."""

    low: float
    high: float


Rule = Range | type[bool] | type[str] | type[Chemistry]

# Every key a sheet may hold: a range for a number, bool for yes or no, str for text, Chemistry for
# one of its names. The ranges are wide on purpose: they catch a wrong unit or a slip of the finger,
# not an unusual vehicle.
KEYS: Mapping[str, Mapping[str, Rule]] = {
    "vehicle": {
        "name": str,
        "mass_kg": Range(1.0, 1000.0),
        "battery_nominal_wh": Range(10.0, 100_000.0),
        "battery_nominal_v": Range(6.0, 1000.0),
        "battery_usable_wh": Range(10.0, 120_000.0),
        "battery_chemistry": Chemistry,
        "drag_area_m2": Range(0.05, 5.0),
        "rolling_resistance": Range(0.001, 0.2),
        "drivetrain_efficiency": Range(0.2, 1.0),
        "auxiliary_w": Range(0.0, 2000.0),
        "regenerative_braking": bool,
        "pedal_assist": bool,
    },
    "rider": {"mass_kg": Range(1.0, 1000.0)},
    "weather": {
        "temperature_c": Range(-60.0, 60.0),
        "pressure_hpa": Range(500.0, 1100.0),
        "humidity_pct": Range(0.0, 100.0),
        "wind_speed_m_s": Range(0.0, 60.0),
        "wind_from_deg": Range(0.0, 360.0),
    },
    "recharge": {
        "wall_energy_wh": Range(1.0, 200_000.0),
        "charger_efficiency": Range(0.3, 1.0),
        "metered_wh": Range(1.0, 200_000.0),
    },
}
_USABLE_TO_NOMINAL = 1.2  # labels understate now and then; more is a slip


def read_sheet(path: Path, vehicle_kinds: Mapping[str, VehicleSheet]) -> RideSheet:
    """Read a ride sheet.

    Parameters
    ----------
    path : the TOML file.
    vehicle_kinds : handbook vehicles by the stem of their file ("city-scooter").

    Raises
    ------
    SideFileError
        With one problem per thing to mend.
    """
    tables = _read_tables(path, KEYS)
    vehicle = VehicleSheet(**tables["vehicle"])
    stem = "-".join((vehicle.name or "").casefold().split())
    return RideSheet(
        vehicle=vehicle,
        rider=RiderSheet(**tables["rider"]),
        weather=WeatherSheet(**tables["weather"]),
        recharge=RechargeSheet(**tables["recharge"]),
        kind=vehicle_kinds.get(stem),
    )


def read_vehicle_file(path: Path) -> VehicleSheet:
    """Read a handbook vehicle: a TOML file with a [vehicle] table as in a ride sheet.

    Raises
    ------
    ConfigError
        If the file is wrong, with one line per thing to mend.
    """
    try:
        tables = _read_tables(path, {"vehicle": KEYS["vehicle"]})
    except SideFileError as error:
        raise ConfigError(str(error)) from error
    return VehicleSheet(**tables["vehicle"])


def _read_tables(path: Path, known: Mapping[str, Mapping[str, Rule]]) -> dict[str, dict[str, Any]]:
    """Read checked values by table and key, in base units; every known table is there."""
    problems = ProblemList(path)
    tables: dict[str, dict[str, Any]] = {name: {} for name in known}
    for name, content in _parse(path, problems).items():
        if name not in known:
            what = "table" if isinstance(content, dict) else "key outside any table"
            problems.add(name, f"{what} {quoted(name)}", "a known table", nearest_name(name, known))
        elif not isinstance(content, dict):
            problems.add(name, _shown(content), f"a table [{name}]")
        else:
            tables[name] = _check_table(name, content, problems)
    _check_usable(tables["vehicle"], problems)
    problems.raise_any()
    return tables


def _parse(path: Path, problems: ProblemList) -> dict[str, Any]:
    """Parse the TOML document; empty, and a problem, if it is none."""
    text = read_text(path)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # tomllib gives the place only as text: "… (at line 3, column 5)" or "(at end of document)"
        message, _, place = str(error).partition(" (at ")
        match = re.match(r"line (\d+)", place)
        line = int(match[1]) if match else text.rstrip("\n").count("\n") + 1
        problems.add(f"line {line}", f"{message[:1].lower()}{message[1:]}", "TOML")
        return {}


def _check_table(name: str, content: dict[str, Any], problems: ProblemList) -> dict[str, Any]:
    """Values of one table under their base keys; a problem for each that is wrong."""
    spellings = _spellings(name)
    values: dict[str, Any] = {}
    written: dict[str, str] = {}
    for spelling, value in content.items():
        place = f"[{name}] {spelling}"
        if spelling not in spellings:
            mend = nearest_name(spelling, spellings)
            problems.add(place, "an unknown key", "a known key", mend)
            continue
        key, conversion = spellings[spelling]
        if key in written:
            problems.add(place, f"{spelling} and {written[key]}", "one of them")
            continue
        written[key] = spelling
        values[key] = _check_value(place, value, KEYS[name][key], conversion, problems)
    return values


def _spellings(table: str) -> dict[str, tuple[str, Conversion]]:
    """Every way to write a key of a table: itself, and with the suffix of another unit."""
    spellings = {key: (key, Conversion(base="", factor=1.0)) for key in KEYS[table]}
    for key in KEYS[table]:
        for suffix, conversion in SUFFIXES.items():
            if key.endswith(f"_{conversion.base}"):
                stem = key.removesuffix(conversion.base)
                spellings[stem + suffix] = (key, conversion)
    return spellings


def _check_value(
    place: str,
    value: Any,
    rule: Rule,
    conversion: Conversion,
    problems: ProblemList,
) -> Any:
    """Convert to the base unit; None, and a problem, if of the wrong type or size."""
    if rule is Chemistry:
        return _check_chemistry(place, value, problems)
    if not isinstance(rule, Range):
        if isinstance(value, rule):
            return value
        expected = "true or false" if rule is bool else "text in quotes"
        problems.add(place, _shown(value), expected)
        return None
    # the limits go to the user's unit, so that the message speaks it
    low = (rule.low - conversion.offset) / conversion.factor
    high = (rule.high - conversion.offset) / conversion.factor
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not low <= value <= high:
        limits = f"{round(low, 3):.10g} to {round(high, 3):.10g}"
        problems.add(place, _shown(value), f"a number from {limits}")
        return None
    return float(value) * conversion.factor + conversion.offset


def _check_chemistry(place: str, value: Any, problems: ProblemList) -> Chemistry | None:
    names = [chemistry.value for chemistry in Chemistry]
    try:
        return Chemistry(value.strip().casefold() if isinstance(value, str) else value)
    except ValueError:
        problems.add(place, _shown(value), "one of " + ", ".join(f'"{name}"' for name in names))
        return None


def _shown(value: Any) -> str:
    """Show a value as the user wrote it, or nearly."""
    if isinstance(value, bool):
        return str(value).lower()
    try:
        text = str(value)
    except ValueError:  # Python does not write out integers of thousands of digits
        return "a number of thousands of digits"
    return text if isinstance(value, int | float) else quoted(text)


def _check_usable(vehicle: Mapping[str, Any], problems: ProblemList) -> None:
    """Refuse a usable capacity well above the nominal one: it is a slip."""
    usable, nominal = vehicle.get("battery_usable_wh"), vehicle.get("battery_nominal_wh")
    if usable is not None and nominal is not None and usable > _USABLE_TO_NOMINAL * nominal:
        problems.add(
            "[vehicle] battery_usable_wh",
            f"{usable:g}",
            f"at most {_USABLE_TO_NOMINAL:g} times battery_nominal_wh ({nominal:g})",
        )
