"""A prediction as one document for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from wherewatt import __version__
from wherewatt.config import Config
from wherewatt.outlook.draws import Spread
from wherewatt.outlook.predict import Mark, Prediction

SCHEMA = "wherewatt/prediction/1"


def document(prediction: Prediction, config: Config) -> dict[str, Any]:
    """The prediction, ready for JSON (no NaN, no infinity)."""
    request, settings = prediction.request, config.outlook
    course = request.course
    return {
        "schema": SCHEMA,
        "vehicle": {"name": request.vehicle.name, "rides": len(request.vehicle.rides)},
        "asked": {
            "course": course.name,
            "distance_km": course.length_m / 1000.0,
            "ascent_m": course.ascent_m,
            "loop": course.loop,
            "surfaces": list(course.surfaces),
            "stops_km": (course.stops_m / 1000.0).tolist(),
            "pace": asdict(request.pace),
            "rider_mass_kg": request.day.rider_mass_kg,
            "weather": asdict(request.day.weather),
            "battery_pct": request.battery_pct,
            "reserve_pct": request.reserve_pct,
        },
        "duration_s": prediction.duration_s,
        "wh_per_km": _spread(prediction.wh_per_km),
        "range": {
            "full_charge_km": _spread(prediction.full_range_m.times(1e-3)),
            "to_reserve_km": _spread(prediction.range_m.times(1e-3)),
        },
        "chance_of_reserve": prediction.chance,
        "along": [_mark(mark) for mark in prediction.along],
        "changes": [
            {
                "change": worth.change.value,
                "wh_per_km": _spread(worth.wh_per_km),
                "full_charge_km": _spread(worth.range_m.times(1e-3)),
            }
            for worth in prediction.worth
        ],
        "steps": {
            "mass_kg": settings.more_mass_kg,
            "speed_m_s": settings.more_speed_m_s,
            "headwind_m_s": settings.more_headwind_m_s,
            "surface": settings.other_surface,
        },
        "warnings": [{"code": note.code, "message": note.message} for note in prediction.notes],
        "versions": {"wherewatt": __version__},
    }


def _mark(mark: Mark) -> dict[str, Any]:
    return {
        "at_km": mark.at_m / 1000.0,
        "time_s": mark.time_s,
        "left_pct": _spread(mark.left.times(100.0)),
        "shown_pct": _spread(mark.shown_pct),
    }


def _spread(spread: Spread) -> dict[str, float | None]:
    return {name: value if np.isfinite(value) else None for name, value in asdict(spread).items()}
