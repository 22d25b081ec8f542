"""Drives of a light electric quadricycle around Rabat (RSK Twizy EV Dataset, CC BY 4.0).

One row a second: the vehicle's own speed and percent in steps of 0.02, position and altitude of a
receiver that gives a new fix about every twelve seconds, weather of a station without the
direction of the wind. Mass and battery are the maker's, from memory: the data do not state them.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from benchmarks.measured import MeasuredTrip

NOMINAL_WH = 6100.0  # value from memory

# The log of this drive lost 1.8 km and 2.3 % between two rows: it is taken from there on.
_FIRST_ROW = {"T1_06_30_2021_1": 422}

_VEHICLE = f"""\
[vehicle]
mass_kg = 474.0
battery_nominal_wh = {NOMINAL_WH}
regenerative_braking = true
pedal_assist = false
"""


def read_trips(folder: Path) -> list[MeasuredTrip]:
    """All trips of the folder, by name."""
    return [_read_trip(path) for path in sorted(folder.glob("T*.csv"))]


def _read_trip(path: Path) -> MeasuredTrip:
    table = pd.read_csv(path).iloc[_FIRST_ROW.get(path.stem, 0) :]
    # some dates are unreadable; no drive passes midnight, and most rows are right in each
    date = pd.to_datetime(table["Date"].mode()[0], format="%m/%d/%Y")
    time = date + pd.to_timedelta(table["Time"])
    log = pd.DataFrame(
        {
            "time": time.dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "latitude_deg": table["LAT"],
            "longitude_deg": table["LON"],
            "elevation_m": table["ALT"],
            "speed_kmh": table["Speed"],
        }
    )
    return MeasuredTrip(
        name=path.stem,
        log=log,
        time_s=(time - time.iloc[0]).dt.total_seconds().to_numpy(),
        percent=table["Soc"].to_numpy(dtype=float),
        sheet=_VEHICLE + _weather(table),
    )


def _weather(table: pd.DataFrame) -> str:
    """[weather] of a sheet from the means over the drive."""
    return (
        f"[weather]\ntemperature_c = {table['Temperature'].mean():.1f}\n"
        f"humidity_pct = {table['Humidity'].mean():.0f}\n"
        f"wind_speed_m_s = {table['WindSpeedAv'].mean():.2f}\n"
    )
