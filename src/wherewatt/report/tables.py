"""The results as tables and as one summary: for programs."""

from __future__ import annotations

import math
import platform
from functools import cache, lru_cache
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import numpy as np

from wherewatt import __version__
from wherewatt.allocate.ledger import Z90, Measure
from wherewatt.allocate.loads import CAUSES
from wherewatt.allocate.verdict import Verdict, verdict_of
from wherewatt.arrays import FloatArray
from wherewatt.columns import LEG_COLUMNS, SECTION_COLUMNS
from wherewatt.report.result import RideResult
from wherewatt.report.table import Table
from wherewatt.report.times import clock, iso_start
from wherewatt.sections.cutting import Sections
from wherewatt.sections.names import STRUCTURES, Feature, find_features, section_names

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = "wherewatt/summary/1"
_LIBRARIES = ("numpy", "scipy", "pandas", "pyarrow", "pyproj", "gpxpy", "fitdecode")


def sections_frame(result: RideResult) -> pd.DataFrame:
    """`sections_table` as a frame."""
    return sections_table(result).to_frame()


def legs_frame(result: RideResult) -> pd.DataFrame:
    """`legs_table` as a frame."""
    return legs_table(result).to_frame()


@lru_cache(maxsize=1)  # several files of a ride show it
def sections_table(result: RideResult) -> Table:
    """One row per section: the columns of `wherewatt.columns.SECTION_COLUMNS`."""
    sections, ride, ledger = result.sections, result.ride, result.ledger
    total = sections.total
    edges = sections.edges
    times = clock(ride, ride.time_s[edges])
    rise = np.diff(result.height_m)
    metres, moving = (
        total(ride.leg_distance_m),
        total(np.where(ride.standing, 0.0, ride.leg_time_s)),
    )
    ascent, descent = result.ascent_and_descent_m
    energy, sd = ledger.section_wh.sum(axis=0), ledger.section_sd
    return Table.of(
        SECTION_COLUMNS,
        {
            "section": np.arange(1, len(sections) + 1),
            "start_time": times[:-1],
            "end_time": times[1:],
            "start_km": ride.distance_m[edges[:-1]] / 1000.0,
            "end_km": ride.distance_m[edges[1:]] / 1000.0,
            "terrain": sections.terrain,
            "flow": sections.flow,
            "surface": sections.surface,
            "structure": sections.structure,
            "distance_km": metres / 1000.0,
            "duration_s": total(ride.leg_time_s),
            "moving_s": moving,
            "stops": _stops(result, edges),
            "ascent_m": ascent,
            "descent_m": descent,
            "mean_grade_pct": 100.0 * _ratio(total(rise), metres, 0.0),
            "mean_speed_kmh": 3.6 * _ratio(metres, moving, 0.0),
            "battery_wh": energy,
            "battery_wh_sd": sd,
            "battery_wh_low90": energy - Z90 * sd,
            "battery_wh_high90": energy + Z90 * sd,
            "wh_per_km": _ratio(energy, metres / 1000.0, np.nan),
            "share_pct": 100.0 * energy / (energy.sum() or np.nan),
            **{f"{cause}_wh": row for cause, row in zip(CAUSES, ledger.section_wh, strict=True)},
            "name": section_names(sections, _features(sections)),
        },
    )


def legs_table(result: RideResult) -> Table:
    """One row per leg: the columns of `wherewatt.columns.LEG_COLUMNS`."""
    ride, height = result.ride, result.height_m
    times = clock(ride, ride.time_s)
    return Table.of(
        LEG_COLUMNS,
        {
            "start_time": times[:-1],
            "end_time": times[1:],
            "section": result.sections.leg_section + 1,
            "distance_m": ride.leg_distance_m,
            "speed_m_s": ride.leg_speed_m_s,
            "height_m": height[1:],
            "grade": _ratio(np.diff(height), ride.leg_distance_m, 0.0),
            "headwind_m_s": result.estimate.loads.headwind_m_s,
            "battery_wh": result.leg_wh,
            **{f"{cause}_wh": row for cause, row in zip(CAUSES, result.ledger.leg_wh, strict=True)},
        },
    )


def summary(result: RideResult) -> dict[str, Any]:
    """The ride in one document, ready for JSON (no NaN, no infinity)."""
    ledger, taught = result.ledger, verdict(result)
    return {
        "schema": SCHEMA,
        "track": track_facts(result),
        "energy": {
            "battery_wh": _interval(ledger.total),
            "wh_per_km": _interval(ledger.wh_per_km),
            "by_cause_wh": {
                cause: {"mean": measure.mean, "sd": measure.sd}
                for cause, measure in ledger.by_cause.items()
            },
        },
        "range": {"full_charge_km": _interval(ledger.full_charge_km)},
        "calibration": {
            "call_outs": len(result.estimate.evidence.shown),
            "converged": result.estimate.solution.converged,
            "parameters": calibration(result, taught),
        },
        "display": display(taught),
        "voltages": voltages(taught),
        "verdict": list(taught.sentences),
        "features": features(result),
        "warnings": [{"code": note.code, "message": note.message} for note in result.notes],
        "versions": {"python": platform.python_version(), **_versions()},
        "config": _config(result),
    }


def track_facts(result: RideResult) -> dict[str, Any]:
    """What was ridden: name, file, length, duration and the like."""
    track, ride = result.recording.track, result.ride
    return {
        "name": result.name,
        "file": track.source.name,
        "sha256": track.sha256,
        "points": len(track),
        "start_time": iso_start(ride),
        "duration_s": float(ride.time_s[-1]),
        "moving_s": float(np.sum(ride.leg_time_s[~ride.standing])),
        "distance_km": float(ride.distance_m[-1]) / 1000.0,
        "stops": len(ride.stops),
        "sections": len(result.sections),
    }


def calibration(result: RideResult, taught: Verdict) -> list[dict[str, Any]]:
    """Every parameter before and after the ride, in its own unit."""
    parameters, sds = result.estimate.evidence.parameters, result.estimate.value_sds
    origin = parameters.slopes(np.zeros(len(parameters)))
    return [
        {
            "name": of.item.name,
            "unit": of.item.prior.unit,
            "prior_mean": of.item.prior.center,
            "prior_sd": abs(origin[of.item.name]),
            "mean": of.mean,
            "sd": sds[of.item.name],
            "low90": of.low90,
            "high90": of.high90,
            "informed_pct": of.informed_pct,
            "said": of.said,
        }
        for of in taught.parameters
    ]


def display(taught: Verdict) -> list[dict[str, Any]]:
    """What the display showed at each call-out against what was left and what was expected [%]."""
    return [
        {
            "at_km": of.at_m / 1000.0,
            "shown_pct": of.shown_pct,
            "estimated_pct": of.left_pct,
            "sd": of.left_sd,
            "expected_pct": of.expected_pct,
            "residual_points": of.residual_points,
            "residual_sds": of.residual_sds,
            "weight_pct": of.weight_pct,
            "set_aside": of.set_aside,
        }
        for of in taught.call_outs
    ]


def voltages(taught: Verdict) -> list[dict[str, Any]]:
    """The voltage at each call-out of one against what was expected [V]."""
    return [
        {
            "at_km": of.at_m / 1000.0,
            "shown_v": of.shown_v,
            "expected_v": of.expected_v,
            "residual_v": of.residual_v,
            "weight_pct": of.weight_pct,
            "set_aside": of.set_aside,
        }
        for of in taught.voltages
    ]


@lru_cache(maxsize=1)  # summary and page show it
def verdict(result: RideResult) -> Verdict:
    """What the ride taught."""
    left, left_sd = result.remaining_at(result.estimate.evidence.shown.time_s)
    return verdict_of(result.estimate, left, left_sd)


def features(result: RideResult) -> list[dict[str, Any]]:
    """Every climb, descent, structure and the like: where it is, how high, what it took.

    Features overlap, as a bridge does with the climb it lies in, so their energies do not add up.
    """
    sections, covariance = result.sections, result.ledger.section_covariance
    height_m = result.height_m[sections.edges].tolist()
    measures = result.ledger.section_measures
    rows = []
    for feature in _features(sections):
        first, end = feature.first, feature.end
        used = measures[first]
        if end > first + 1:  # most features are one section
            variance = float(covariance[first:end, first:end].sum())
            wh = sum(measure.mean for measure in measures[first:end])
            used = Measure(wh, math.sqrt(max(0.0, variance)))
        rows.append(
            {
                "name": feature.name,
                "kind": str(feature.kind),
                "start_km": feature.start_m / 1000.0,
                "end_km": feature.end_m / 1000.0,
                "height_change_m": height_m[end] - height_m[first],
                "above_terrain_m": _above_terrain(result, feature),
                "battery_wh": _interval(used),
            }
        )
    return rows


@lru_cache(maxsize=1)  # sections are named after them
def _features(sections: Sections) -> tuple[Feature, ...]:
    return find_features(sections)


def _above_terrain(result: RideResult, feature: Feature) -> float | None:
    """How far a structure leaves the terrain [m]: as found, else as the profile shows it."""
    if feature.kind not in STRUCTURES:
        return None
    for found in result.profile.structures:
        if min(found.end_m, feature.end_m) - max(found.start_m, feature.start_m) > 0:
            return found.height_m
    above = result.profile.above_terrain(feature.start_m, feature.end_m)
    return above if np.isfinite(above) else None


def _ratio(above: FloatArray, below: FloatArray, otherwise: float) -> FloatArray:
    return np.divide(above, below, out=np.full_like(above, otherwise), where=below > 0)


def _stops(result: RideResult, edges: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    starts = np.array([stop.start_s for stop in result.ride.stops])
    section = np.searchsorted(result.ride.time_s[edges[1:-1]], starts, side="right")
    return np.bincount(section, minlength=len(result.sections))


def _interval(measure: Measure) -> dict[str, float | None]:
    return {
        "mean": _known(measure.mean),
        "sd": _known(measure.sd),
        "low90": _known(measure.low90),
        "high90": _known(measure.high90),
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


@cache
def _versions() -> dict[str, str]:
    return {"wherewatt": __version__, **{name: version(name) for name in _LIBRARIES}}


def _config(result: RideResult) -> dict[str, Any]:
    """The priors and settings that were used, so that the numbers can be made again."""
    evidence = result.estimate.evidence
    settings = evidence.settings
    return {
        "estimate": {name: getattr(settings, name) for name in type(settings).__slots__},
        "prior_sources": {item.name: item.prior.source for item in evidence.parameters.items},
    }
