"""Every column of an archive's tables, and how Parquet holds it."""

from __future__ import annotations

from collections.abc import Mapping

import pyarrow as pa

from wherewatt.allocate.loads import CAUSES
from wherewatt.columns import LEG_COLUMNS, SECTION_COLUMNS, Column

TIME = "datetime64[ns, UTC]"
_TEXTS, _NUMBERS = "list[str]", "list[float64]"

_RIDE = Column("ride", "", "str", "number of the ride: a hash of its path")

# Moments are held to the microsecond: not every reader knows nanoseconds.
_ARROW: Mapping[str, pa.DataType] = {
    "int64": pa.int64(),
    "float64": pa.float64(),
    "bool": pa.bool_(),
    "str": pa.string(),
    TIME: pa.timestamp("us", tz="UTC"),
    _TEXTS: pa.list_(pa.string()),
    _NUMBERS: pa.list_(pa.float64()),
}

RIDE_COLUMNS = (
    _RIDE,
    Column("path", "", "str", "path of the track within the source"),
    Column("name", "", "str", "file name of the track without its ending"),
    Column("vehicle", "", "str", "the owner's name for the vehicle"),
    Column("sha256", "", "str", "of the track's file"),
    Column("start_time", "UTC", TIME, "when it begins"),
    Column("end_time", "UTC", TIME, "when it ends"),
    Column("duration_s", "s", "float64", "duration, pauses included"),
    Column("moving_s", "s", "float64", "duration while moving"),
    Column("points", "1", "int64", "points recorded"),
    Column("stops", "1", "int64", "stops"),
    Column("sections", "1", "int64", "sections"),
    Column("distance_km", "km", "float64", "length"),
    Column("ascent_m", "m", "float64", "rise between turning points of the blended profile"),
    Column("descent_m", "m", "float64", "fall between them, positive"),
    Column("temperature_c", "°C", "float64", "air, from the ride sheet"),
    Column("wind_speed_m_s", "m/s", "float64", "wind at 10 m, from the ride sheet"),
    Column("battery_wh", "Wh", "float64", "energy from the battery"),
    Column("battery_wh_sd", "Wh", "float64", "its standard deviation"),
    Column("battery_wh_low90", "Wh", "float64", "lower end of its 90 % interval"),
    Column("battery_wh_high90", "Wh", "float64", "upper end of its 90 % interval"),
    Column("wh_per_km", "Wh/km", "float64", "energy over length"),
    Column("wh_per_km_sd", "Wh/km", "float64", "its standard deviation"),
    Column("wh_per_km_low90", "Wh/km", "float64", "lower end of its 90 % interval"),
    Column("wh_per_km_high90", "Wh/km", "float64", "upper end of its 90 % interval"),
    Column("full_charge_km", "km", "float64", "range of a full charge, ridden like this"),
    Column("full_charge_km_low90", "km", "float64", "lower end of its 90 % interval"),
    Column("full_charge_km_high90", "km", "float64", "upper end of its 90 % interval"),
    *(
        Column(f"{cause}_wh", "Wh", "float64", f"battery energy by cause: {cause}")
        for cause in CAUSES
    ),
    Column("call_outs", "1", "int64", "battery call-outs, of percent or voltage"),
    Column("measured", "", "bool", "false where nothing was: the handbook's estimate"),
    Column("converged", "", "bool", "whether the estimate settled"),
    Column("warnings", "", _TEXTS, "codes of the notes on it"),
)

PARAMETER_COLUMNS = (
    _RIDE,
    Column("name", "", "str", "name of the parameter"),
    Column("unit", "", "str", "its unit"),
    Column("prior_mean", "", "float64", "what was known of it before the ride"),
    Column("prior_sd", "", "float64", "its standard deviation"),
    Column("mean", "", "float64", "what is known after it"),
    Column("sd", "", "float64", "its standard deviation"),
    Column("low90", "", "float64", "lower end of its 90 % interval"),
    Column("high90", "", "float64", "upper end of its 90 % interval"),
    Column("informed_pct", "%", "float64", "share of its variance that the data took away"),
)

FACTOR_COLUMNS = (
    _RIDE,
    Column("name", "", "str", "name of the ride"),
    Column("vehicle", "", "str", "the owner's name for the vehicle"),
    Column("sha256", "", "str", "of the track's file"),
    Column("start_time", "UTC", TIME, "when the ride begins"),
    Column("temperature_c", "°C", "float64", "air, from the ride sheet"),
    Column("rider_mass_kg", "kg", "float64", "with kit, from the ride sheet"),
    Column("sheet", "", "str", "what the ride sheet states of the vehicle, as JSON"),
    Column("parameters", "", _TEXTS, "names of the p parameters that the factor is of"),
    Column("information", "", _NUMBERS, "its p × p information matrix, row by row"),
    Column("vector", "", _NUMBERS, "its information vector"),
)

FAILED_COLUMNS = (
    _RIDE,
    Column("path", "", "str", "path of the track within the source"),
    Column("reason", "", "str", "why it could not be used, a line for each problem"),
)

# By table; a ride's rows stand together, in the order of the ride, and rides by their paths.
TABLES: Mapping[str, tuple[Column, ...]] = {
    "rides": RIDE_COLUMNS,
    "sections": (_RIDE, *SECTION_COLUMNS),
    "legs": (_RIDE, *LEG_COLUMNS),
    "parameters": PARAMETER_COLUMNS,
    "factors": FACTOR_COLUMNS,
    "failed": FAILED_COLUMNS,
}


def _schema(columns: tuple[Column, ...]) -> pa.Schema:
    return pa.schema([(column.name, _ARROW[column.dtype]) for column in columns])


SCHEMAS: Mapping[str, pa.Schema] = {name: _schema(columns) for name, columns in TABLES.items()}
