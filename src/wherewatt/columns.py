"""Every column of every table that wherewatt writes: one list for files, checks and documents."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from wherewatt.allocate.loads import CAUSES

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, unit, pandas dtype and meaning."""

    name: str
    unit: str
    dtype: str
    meaning: str


_TIME = "datetime64[ns, UTC]"

_CAUSE_MEANING = {
    "rolling": "rolling resistance",
    "air": "air resistance as it would be without wind",
    "wind": "what the wind added to it or took off",
    "height": "gain of height (negative downhill)",
    "speed": "gain of kinetic energy (negative when slowing)",
    "brakes": "lost in the brakes",
    "drivetrain": "lost between battery and wheel",
    "auxiliary": "display, lights, controller",
    "rider": "spared by pedalling (negative)",
}


def _causes() -> tuple[Column, ...]:
    return tuple(
        Column(f"{cause}_wh", "Wh", "float64", f"battery energy: {_CAUSE_MEANING[cause]}")
        for cause in CAUSES
    )


SECTION_COLUMNS = (
    Column("section", "1", "int64", "number of the section, from 1"),
    Column("start_time", "UTC", _TIME, "when it begins"),
    Column("end_time", "UTC", _TIME, "when it ends"),
    Column("start_km", "km", "float64", "distance at which it begins"),
    Column("end_km", "km", "float64", "distance at which it ends"),
    Column("terrain", "", "str", "climb, descent or flat"),
    Column("flow", "", "str", "stop-and-go or steady"),
    Column("surface", "", "str", "surface as tagged, or untagged"),
    Column("structure", "", "str", "bridge, tunnel or cutting; empty for none"),
    Column("distance_km", "km", "float64", "length"),
    Column("duration_s", "s", "float64", "duration, pauses included"),
    Column("moving_s", "s", "float64", "duration while moving"),
    Column("stops", "1", "int64", "stops that begin in it"),
    Column("ascent_m", "m", "float64", "rise between turning points of the blended profile"),
    Column("descent_m", "m", "float64", "fall between them, positive"),
    Column("mean_grade_pct", "%", "float64", "change of height over length"),
    Column("mean_speed_kmh", "km/h", "float64", "length over duration while moving"),
    Column("battery_wh", "Wh", "float64", "energy from the battery"),
    Column("battery_wh_sd", "Wh", "float64", "its standard deviation"),
    Column("battery_wh_low90", "Wh", "float64", "lower end of its 90 % interval"),
    Column("battery_wh_high90", "Wh", "float64", "upper end of its 90 % interval"),
    Column("wh_per_km", "Wh/km", "float64", "energy over length; empty where nothing was ridden"),
    Column("share_pct", "%", "float64", "share of the ride's energy"),
    *_causes(),
    Column("name", "", "str", "what it is and where that begins, in km"),
)

LEG_COLUMNS = (
    Column("start_time", "UTC", _TIME, "when the leg begins"),
    Column("end_time", "UTC", _TIME, "when it ends"),
    Column("section", "1", "int64", "section it belongs to"),
    Column("distance_m", "m", "float64", "length"),
    Column("speed_m_s", "m/s", "float64", "mean speed"),
    Column("height_m", "m", "float64", "blended height at its end"),
    Column("grade", "1", "float64", "change of height over length; 0 while standing"),
    Column("headwind_m_s", "m/s", "float64", "estimated wind against the direction of travel"),
    Column("battery_wh", "Wh", "float64", "energy from the battery"),
    *_causes(),
)

TRACK_COLUMNS = (
    Column("surface", "", "str", "surface as tagged, or untagged"),
    Column("structure", "", "str", "bridge, tunnel or cutting; empty for none"),
    Column("start_time", "UTC", _TIME, "when the stretch begins"),
    Column("end_time", "UTC", _TIME, "when it ends"),
    Column("start_km", "km", "float64", "distance at which it begins"),
    Column("end_km", "km", "float64", "distance at which it ends"),
)


def as_declared(frame: pd.DataFrame, columns: tuple[Column, ...]) -> pd.DataFrame:
    """The frame with exactly the declared columns, in order and of the declared types.

    Raises
    ------
    KeyError
        If a column is missing.
    """
    return frame[[column.name for column in columns]].astype(
        {column.name: column.dtype for column in columns}
    )
