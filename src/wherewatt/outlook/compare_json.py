"""A comparison as one document for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from wherewatt import __version__
from wherewatt.allocate.ledger import Measure
from wherewatt.config import Config
from wherewatt.outlook.compare import CAUSES, Comparison, Pair
from wherewatt.outlook.equal_terms import OnEqualTerms
from wherewatt.outlook.laid_beside import LaidBeside
from wherewatt.outlook.standards import (
    DISTANCE_SPREAD,
    NO_TYPE_TEST,
    STATED,
    recharge_consumption_of,
)

SCHEMA = "wherewatt/comparison/1"


def document(comparison: Comparison, config: Config) -> dict[str, Any]:
    """The comparison, ready for JSON (no NaN, no infinity); consumption in Wh/km."""
    return {
        "schema": SCHEMA,
        "reference": {"ride": asdict(config.reference), "pace": asdict(config.pace)},
        "rides": [_ride(ride, config) for ride in comparison.rides],
        "pairs": [_pair(place, pair) for place, pair in enumerate(comparison.pairs, start=1)],
        "standards": {
            "stated": [asdict(stated) for stated in STATED],
            "distance_spread": DISTANCE_SPREAD,
            "statement": NO_TYPE_TEST,
        },
        "versions": {"wherewatt": __version__},
    }


def _ride(ride: OnEqualTerms, config: Config) -> dict[str, Any]:
    vehicle = ride.vehicle.known.vehicle
    recharged = recharge_consumption_of(ride.result, config)
    return {
        "name": ride.result.name,
        "sha256": ride.result.recording.track.sha256,
        "vehicle": ride.result.recording.sheet.vehicle.name,
        "rides_of_vehicle": len(vehicle.rides),
        "distance_km": float(ride.result.ride.distance_m[-1]) / 1000.0,
        "wh_per_km": _interval(ride.wh_per_km),
        "reference_wh_per_km": _interval(ride.vehicle.wh_per_km),
        "reference_full_charge_km": _interval(ride.vehicle.full_charge_km),
        "apart_wh_per_km": {
            cause.value: _interval(ride.apart[cause]) for cause in CAUSES if cause in ride.apart
        },
        "recharge": recharged
        and {
            "wall_wh_per_km": _interval(recharged.wall),
            "battery_wh_per_km": _interval(recharged.battery),
        },
        "warnings": [{"code": of.code, "message": of.message} for of in ride.result.notes],
    }


def _pair(place: int, pair: Pair) -> dict[str, Any]:
    low, high = pair.farther_90
    return {
        "base": 0,
        "ride": place,
        "one_vehicle": pair.one_vehicle,
        "farther": {"mean": pair.farther, "low90": low, "high90": high},
        "chance_farther": None if pair.one_vehicle else pair.chance,
        "difference_wh_per_km": _interval(pair.difference),
        "by_cause_wh_per_km": {cause.value: _interval(pair.by_cause[cause]) for cause in CAUSES},
        "same_road": pair.beside and _beside(pair.beside),
    }


def _beside(beside: LaidBeside) -> dict[str, Any]:
    return {
        "shared_km": beside.shared_m / 1000.0,
        "share": beside.share,
        "wh_per_km": _interval(beside.wh_per_km),
        "other_wh_per_km": _interval(beside.other_wh_per_km),
        "difference_wh_per_km": _interval(beside.difference),
        "sections": [
            {
                "name": of.name,
                "terrain": of.terrain,
                "surface": of.surface,
                "start_km": of.start_m / 1000.0,
                "end_km": of.end_m / 1000.0,
                "other_start_km": of.other_start_m / 1000.0,
                "other_end_km": of.other_end_m / 1000.0,
                "wh_per_km": _interval(of.wh_per_km),
                "other_wh_per_km": _interval(of.other_wh_per_km),
                "difference_wh_per_km": _interval(of.difference),
            }
            for of in beside.sections
        ],
    }


def _interval(measure: Measure) -> dict[str, float | None]:
    names = ("mean", "sd", "low90", "high90")
    values = {name: float(getattr(measure, name)) for name in names}
    return {name: value if np.isfinite(value) else None for name, value in values.items()}
