from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest

from wherewatt.errors import ConfigError, SideFileError
from wherewatt.ingest.sheet import (
    KEYS,
    Range,
    RechargeSheet,
    RiderSheet,
    RideSheet,
    VehicleSheet,
    WeatherSheet,
    read_sheet,
    read_vehicle_file,
)

KINDS = {"city-scooter": VehicleSheet(name="City scooter", mass_kg=18.0)}
FULL = """
[vehicle]
name = "Old faithful"
mass_kg = 18
battery_nominal_wh = 500.0
battery_nominal_v = 48
battery_usable_wh = 450
drag_area_m2 = 0.6
rolling_resistance = 0.012
drivetrain_efficiency = 0.8
auxiliary_w = 0
regenerative_braking = true
pedal_assist = false
[rider]
mass_kg = 80.5
[weather]
temperature_c = -5
pressure_hpa = 950
humidity_pct = 0
wind_speed_m_s = 3.5
wind_from_deg = 360
[recharge]
wall_energy_wh = 400
charger_efficiency = 0.88
metered_wh = 350
"""


def read(tmp_path: Path, text: str) -> RideSheet:
    path = tmp_path / "ride.toml"
    path.write_text(text)
    return read_sheet(path, KINDS)


def lines_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(SideFileError) as caught:
        read(tmp_path, text)
    return [line.removeprefix("ride.toml: ") for line in str(caught.value).split("\n")]


def test_every_key(tmp_path: Path) -> None:
    assert read(tmp_path, FULL) == RideSheet(
        vehicle=VehicleSheet(
            name="Old faithful",
            mass_kg=18.0,
            battery_nominal_wh=500.0,
            battery_nominal_v=48.0,
            battery_usable_wh=450.0,
            drag_area_m2=0.6,
            rolling_resistance=0.012,
            drivetrain_efficiency=0.8,
            auxiliary_w=0.0,
            regenerative_braking=True,
            pedal_assist=False,
        ),
        rider=RiderSheet(80.5),
        weather=WeatherSheet(-5.0, 950.0, 0.0, 3.5, 360.0),
        recharge=RechargeSheet(400.0, 0.88, 350.0),
        kind=None,
    )


def test_table_of_keys_is_that_of_the_dataclasses() -> None:
    sheets = {
        "vehicle": VehicleSheet,
        "rider": RiderSheet,
        "weather": WeatherSheet,
        "recharge": RechargeSheet,
    }
    assert {name: list(keys) for name, keys in KEYS.items()} == {
        name: [field.name for field in fields(sheet)] for name, sheet in sheets.items()
    }


def test_everything_is_optional(tmp_path: Path) -> None:
    assert read(tmp_path, "") == RideSheet()
    assert read(tmp_path, "\ufeff[rider]\r\n") == RideSheet()


@pytest.mark.parametrize("name", ["city-scooter", "City Scooter", " city  SCOOTER "])
def test_handbook_vehicle_by_name(tmp_path: Path, name: str) -> None:
    sheet = read(tmp_path, f'[vehicle]\nname = "{name}"\n')
    assert sheet.kind is KINDS["city-scooter"]
    assert sheet.vehicle.mass_kg is None


def test_other_units(tmp_path: Path) -> None:
    text = "[rider]\nmass_lb = 180\n[weather]\nwind_speed_mph = 10\ntemperature_f = 50\n"
    sheet = read(tmp_path, text)
    assert sheet.rider.mass_kg == pytest.approx(81.6466266)
    assert sheet.weather.wind_speed_m_s == pytest.approx(4.4704)
    assert sheet.weather.temperature_c == pytest.approx(10.0)
    sheet = read(tmp_path, "[vehicle]\nmass_lb = 40\n[weather]\nwind_speed_kmh = 36\n")
    assert sheet.vehicle.mass_kg == pytest.approx(18.1436948)
    assert sheet.weather.wind_speed_m_s == pytest.approx(10.0)


def test_all_problems_at_once(tmp_path: Path) -> None:
    text = """
    mass_kg = 80
    vehicle = 3
    [ridr]
    [rider]
    mass_kg = 80
    mass_lb = 180
    [weather]
    temprature_c = 5
    temperature_f = 500
    pressure_hpa = "high"
    humidity_pct = true
    wind_speed_kmh = nan
    wind_from_deg = -inf
    wind_speed_kg = 3
    [recharge]
    wall_energy_wh = [400]
    metered_wh = 999999999999999999999999999999999999999999999
    """
    assert lines_of(tmp_path, text) == [
        "mass_kg: found key outside any table 'mass_kg', expected a known table; "
        "known: recharge, rider, vehicle, weather",
        "vehicle: found 3, expected a table [vehicle]",
        "ridr: found table 'ridr', expected a known table; did you mean 'rider'?",
        "[rider] mass_lb: found mass_lb and mass_kg, expected one of them",
        "[weather] temprature_c: found an unknown key, expected a known key; "
        "did you mean 'temperature_c'?",
        "[weather] temperature_f: found 500, expected a number from -76 to 140",
        "[weather] pressure_hpa: found 'high', expected a number from 500 to 1100",
        "[weather] humidity_pct: found true, expected a number from 0 to 100",
        "[weather] wind_speed_kmh: found nan, expected a number from 0 to 216",
        "[weather] wind_from_deg: found -inf, expected a number from 0 to 360",
        "[weather] wind_speed_kg: found an unknown key, expected a known key; "
        "did you mean 'wind_speed_kmh'?",
        "[recharge] wall_energy_wh: found '[400]', expected a number from 1 to 200000",
        "[recharge] metered_wh: found 999999999999999999999999999999999999999999999, "
        "expected a number from 1 to 200000",
    ]


def test_wrong_types_of_words_and_switches(tmp_path: Path) -> None:
    text = '[vehicle]\nname = 3\npedal_assist = "yes"\nregenerative_braking = 1\n'
    assert lines_of(tmp_path, text) == [
        "[vehicle] name: found 3, expected text in quotes",
        "[vehicle] pedal_assist: found 'yes', expected true or false",
        "[vehicle] regenerative_braking: found 1, expected true or false",
    ]


@pytest.mark.parametrize("value", ["{}", "[{}]"])
def test_number_that_python_cannot_write_out(tmp_path: Path, value: str) -> None:
    text = "[rider]\nmass_kg = " + value.format("0x" + "f" * 5000)
    assert lines_of(tmp_path, text) == [
        "[rider] mass_kg: found a number of thousands of digits, expected a number from 1 to 1000"
    ]


def test_limits_speak_the_unit_of_the_user(tmp_path: Path) -> None:
    assert lines_of(tmp_path, "[rider]\nmass_lb = 3000\n") == [
        "[rider] mass_lb: found 3000, expected a number from 2.205 to 2204.623"
    ]


NUMBERS = [
    (table, key, rule)
    for table, keys in KEYS.items()
    for key, rule in keys.items()
    if isinstance(rule, Range)
]


@pytest.mark.parametrize(("table", "key", "rule"), NUMBERS)
def test_ends_of_every_range(tmp_path: Path, table: str, key: str, rule: Range) -> None:
    for value in (rule.low, rule.high):
        sheet = read(tmp_path, f"[{table}]\n{key} = {value}\n")
        assert getattr(getattr(sheet, table), key) == value
    for value in (rule.low - 0.0005, rule.high + 0.5):
        (line,) = lines_of(tmp_path, f"[{table}]\n{key} = {value}\n")
        assert line.startswith(f"[{table}] {key}: found {value}, expected a number from ")


def test_usable_capacity_far_above_the_nominal_one(tmp_path: Path) -> None:
    text = "[vehicle]\nbattery_nominal_wh = 500\nbattery_usable_wh = {}\n"
    assert read(tmp_path, text.format(600)).vehicle.battery_usable_wh == 600.0
    assert lines_of(tmp_path, text.format(601)) == [
        "[vehicle] battery_usable_wh: found 601, "
        "expected at most 1.2 times battery_nominal_wh (500)"
    ]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[rider]\nmass_kg = = 3\n", "line 2: found invalid value, expected TOML"),
        ("[rider\n", "line 1: found expected ']' at the end of a table declaration, expected TOML"),
        ("[rider]\nmass_kg =", "line 2: found invalid value, expected TOML"),
        ("[rider]\nmass_kg = 1\nmass_kg = 2\n", "line 3: found cannot overwrite a value"),
        ("a = " + "[" * 100_000, "line 1: found "),
    ],
)
def test_what_is_no_toml(tmp_path: Path, text: str, line: str) -> None:
    (only,) = lines_of(tmp_path, text)
    assert only.startswith(line)


def test_vehicle_file(tmp_path: Path) -> None:
    path = tmp_path / "city-scooter.toml"
    path.write_text('[vehicle]\nname = "City scooter"\nmass_lb = 40\n')
    vehicle = read_vehicle_file(path)
    assert vehicle.name == "City scooter"
    assert vehicle.mass_kg == pytest.approx(18.1436948)
    path.write_text("[vehicle]\nmass = 18\n[rider]\nmass_kg = 80\n")
    with pytest.raises(ConfigError) as caught:
        read_vehicle_file(path)
    assert str(caught.value).split("\n") == [
        "city-scooter.toml: [vehicle] mass: found an unknown key, expected a known key; "
        "did you mean 'mass_lb'?",
        "city-scooter.toml: rider: found table 'rider', expected a known table; known: vehicle",
    ]
