"""A ride as rows of the archive's tables."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

import numpy as np
import pyarrow as pa

from wherewatt.allocate.ledger import Measure
from wherewatt.allocate.loads import CAUSES
from wherewatt.allocate.pool import factor_of
from wherewatt.archive.columns import SCHEMAS
from wherewatt.arrays import FloatArray
from wherewatt.motion.ride import Ride
from wherewatt.report.result import RideResult
from wherewatt.report.table import Table
from wherewatt.report.tables import calibration, legs_table, sections_table, verdict
from wherewatt.report.times import clock
from wherewatt.report.wording import HANDBOOK_ONLY

Rows = Mapping[str, pa.Table]


def rows_of(ride: str, path: str, result: RideResult) -> Rows:
    """Rows of a ride by table.

    Parameters
    ----------
    ride, path : its number, and the path of its track within the source.
    result : the ride.
    """
    parameters = calibration(result, verdict(result))
    return {
        "rides": _table("rides", [{"ride": ride, "path": path, **_ride(result)}]),
        "sections": _with_ride("sections", ride, sections_table(result)),
        "legs": _with_ride("legs", ride, legs_table(result)),
        "parameters": _table("parameters", [{"ride": ride, **row} for row in parameters]),
        "factors": _table("factors", [{"ride": ride, **_factor(result)}]),
    }


def failure_rows(ride: str, path: str, reason: str) -> Rows:
    """The row of a ride that could not be used."""
    return {"failed": _table("failed", [{"ride": ride, "path": path, "reason": reason}])}


def _table(name: str, rows: list[dict[str, Any]]) -> pa.Table:
    schema = SCHEMAS[name]
    arrays = [pa.array([_known(row[field.name]) for row in rows], field.type) for field in schema]
    return pa.Table.from_arrays(arrays, schema=schema)


def _known(value: Any) -> Any:
    """A value as Parquet can hold it: None for a number that is not known, whole characters."""
    if isinstance(value, str):  # names of files may hold bytes that are no characters
        return value.encode(errors="replace").decode()
    return None if isinstance(value, float) and not np.isfinite(value) else value


def _with_ride(name: str, ride: str, table: Table) -> pa.Table:
    """A table of a ride with the ride's number, its columns as the archive holds them."""
    schema = SCHEMAS[name]
    columns = {column.name: _microseconds(table[column.name]) for column in table.columns}
    columns["ride"] = np.full(len(table), ride, dtype=object)
    arrays = [pa.array(columns[field.name], field.type, from_pandas=True) for field in schema]
    return pa.Table.from_arrays(arrays, schema=schema)


def _microseconds(values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Moments to the microsecond, what is between cut off; other values as they are."""
    return values.astype("datetime64[us]") if values.dtype.kind == "M" else values


def _moments(ride: Ride, time_s: FloatArray) -> list[datetime]:
    """UTC of times of the ride, to the microsecond."""
    return np.asarray(clock(ride, time_s), dtype="datetime64[us]").tolist()


def _ride(result: RideResult) -> dict[str, Any]:
    track, ride, sheet = result.recording.track, result.ride, result.recording.sheet
    start, end = _moments(ride, ride.time_s[[0, -1]])
    ascent, descent = result.ascent_and_descent_m
    evidence = result.estimate.evidence
    codes = [note.code for note in result.notes]
    return {
        "name": result.name,
        "vehicle": sheet.vehicle.name,
        "sha256": track.sha256,
        "start_time": start,
        "end_time": end,
        "duration_s": float(ride.time_s[-1]),
        "moving_s": float(np.sum(ride.leg_time_s[~ride.standing])),
        "points": len(track),
        "stops": len(ride.stops),
        "sections": len(result.sections),
        "distance_km": float(ride.distance_m[-1]) / 1000.0,
        "ascent_m": float(ascent.sum()),
        "descent_m": float(descent.sum()),
        "temperature_c": sheet.weather.temperature_c,
        "wind_speed_m_s": sheet.weather.wind_speed_m_s,
        **_energy(result),
        "call_outs": len(evidence.shown) + len(evidence.voltage),
        "measured": HANDBOOK_ONLY not in codes,
        "converged": result.estimate.solution.converged,
        "warnings": codes,
    }


def _energy(result: RideResult) -> dict[str, float]:
    ledger = result.ledger
    by_cause = {f"{cause}_wh": ledger.by_cause[cause].mean for cause in CAUSES}
    return {
        **_measure("battery_wh", ledger.total),
        **_measure("wh_per_km", ledger.wh_per_km),
        **_measure("full_charge_km", ledger.full_charge_km),
        **by_cause,
    }


def _measure(name: str, measure: Measure) -> dict[str, float]:
    return {
        name: measure.mean,
        f"{name}_sd": measure.sd,
        f"{name}_low90": measure.low90,
        f"{name}_high90": measure.high90,
    }


def _factor(result: RideResult) -> dict[str, Any]:
    """What the ride said of its vehicle, and what its sheet states."""
    ride, sheet, factor = result.ride, result.recording.sheet, factor_of(result.estimate)
    stated = asdict(sheet.vehicle)
    return {
        "name": result.name,
        "vehicle": sheet.vehicle.name,
        "sha256": result.recording.track.sha256,
        "start_time": _moments(ride, ride.time_s[:1])[0],
        "temperature_c": sheet.weather.temperature_c,
        "rider_mass_kg": sheet.rider.mass_kg,
        "sheet": json.dumps({name: value for name, value in stated.items() if value is not None}),
        "parameters": list(factor.names),
        "information": factor.information.ravel().tolist(),
        "vector": factor.vector.tolist(),
    }
