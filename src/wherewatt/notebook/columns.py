"""Columns of the frames that stand in no file; the others are in `wherewatt.columns`."""

from __future__ import annotations

from wherewatt.columns import Column

POINT_COLUMNS = (
    Column("time", "UTC", "datetime64[ns, UTC]", "when"),
    Column("time_s", "s", "float64", "time since the first point"),
    Column("latitude_deg", "°", "float64", "smoothed position, WGS 84"),
    Column("longitude_deg", "°", "float64", "smoothed position, WGS 84"),
    Column("fixed", "", "bool", "whether a position was recorded; else it is filled in"),
    Column("distance_m", "m", "float64", "distance travelled"),
    Column("speed_m_s", "m/s", "float64", "speed"),
    Column("recorded_height_m", "m", "float64", "height as recorded; NaN where there is none"),
    Column("rider_w", "W", "float64", "power at the pedals; NaN where there is none"),
)

# As `display` and `voltages` of summary.json, whose names need no unit there.
CALLOUT_COLUMNS = (
    Column("at_km", "km", "float64", "where"),
    Column("shown_pct", "%", "float64", "what the display showed"),
    Column("estimated_pct", "%", "float64", "energy left"),
    Column("estimated_pct_sd", "%", "float64", "its standard deviation"),
    Column("expected_pct", "%", "float64", "what a display such as this should have shown"),
    Column("residual_points", "points", "float64", "shown less expected"),
    Column("residual_sds", "1", "float64", "the same in standard deviations of a call-out"),
    Column("weight_pct", "%", "float64", "share of the full weight it kept"),
    Column("set_aside", "", "bool", "whether that is next to nothing"),
)

VOLTAGE_COLUMNS = (
    Column("at_km", "km", "float64", "where"),
    Column("shown_v", "V", "float64", "what a meter showed"),
    Column("expected_v", "V", "float64", "what it was expected to show"),
    Column("residual_v", "V", "float64", "shown less expected"),
    Column("weight_pct", "%", "float64", "share of the full weight it kept"),
    Column("set_aside", "", "bool", "whether that is next to nothing"),
)
