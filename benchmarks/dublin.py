"""E-scooter trips of 0.8 to 2.8 km around a university in Dublin (arXiv:2403.17632, MIT licence).

Position, speed in km/h and altitude of a phone; whole percent read off a screen, misreadings kept;
wind as a weather site told it. The battery's 446 Wh are stated with the data. The rider's mass
class is not in the trips' files, so that the handbook's adult rides.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from benchmarks.measured import MeasuredTrip

NOMINAL_WH = 446.0

_FROM_DEG = {
    **{"N": 0.0, "NNE": 22.5, "NE": 45.0, "ENE": 67.5, "E": 90.0, "ESE": 112.5},
    **{"SE": 135.0, "SSE": 157.5, "S": 180.0, "SSW": 202.5, "SW": 225.0, "WSW": 247.5},
    **{"W": 270.0, "WNW": 292.5, "NW": 315.0, "NNW": 337.5},
}

_VEHICLE = f"""\
[vehicle]
name = "e-scooter"
battery_nominal_wh = {NOMINAL_WH}
pedal_assist = false
"""


def read_trips(folder: Path) -> list[MeasuredTrip]:
    """All trips of the folder, by number."""
    paths = folder.glob("trip_*.csv")
    return [_read_trip(path) for path in sorted(paths, key=lambda path: int(path.stem[5:]))]


def _read_trip(path: Path) -> MeasuredTrip:
    table = pd.read_csv(path)
    time = pd.to_datetime(table["Timestamp"])
    log = pd.DataFrame(
        {
            "time": time.dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
            # one latitude holds a letter: it is no number, so the point has no position
            "latitude_deg": pd.to_numeric(table["Latitude"], errors="coerce"),
            "longitude_deg": pd.to_numeric(table["Longitude"], errors="coerce"),
            "elevation_m": table["Altitude"],
            "speed_kmh": table["Speed"],
        }
    )
    return MeasuredTrip(
        name=path.stem,
        log=log,
        time_s=(time - time.iloc[0]).dt.total_seconds().to_numpy(),
        percent=table["SoC"].to_numpy(dtype=float),
        sheet=_VEHICLE + _weather(table.iloc[0]),
    )


def _weather(first: pd.Series) -> str:
    """[weather] of a sheet; of a direction that is none (one trip says "WE"), nothing."""
    if first["Wind_direction"] not in _FROM_DEG:
        return ""
    from_deg = _FROM_DEG[first["Wind_direction"]]
    return f"[weather]\nwind_speed_m_s = {first['Wind_speed']}\nwind_from_deg = {from_deg}\n"
