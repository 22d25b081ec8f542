"""Turning back, the way home and the hill test, each as one document for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from wherewatt import __version__
from wherewatt.allocate.ledger import Measure
from wherewatt.outlook.draws import Spread
from wherewatt.outlook.hill_test import HillPassage, HillTest
from wherewatt.outlook.homeward import Homeward, SpeedChance
from wherewatt.outlook.turnback import Turn, Turnback
from wherewatt.report.result import RideResult

TURNBACK_SCHEMA = "wherewatt/turnback/1"
HOMEWARD_SCHEMA = "wherewatt/homeward/1"
HILL_SCHEMA = "wherewatt/hill-test/1"


def turnback_document(found: Turnback) -> dict[str, Any]:
    """Where to turn and the card, ready for JSON (no NaN, no infinity)."""
    request = found.request
    return {
        "schema": TURNBACK_SCHEMA,
        "vehicle": {"name": request.vehicle.name, "rides": len(request.vehicle.rides)},
        "asked": {
            "course": request.course.name,
            "distance_km": request.course.length_m / 1000.0,
            "loop": request.course.loop,
            "pace": asdict(request.pace),
            "rider_mass_kg": request.day.rider_mass_kg,
            "weather": asdict(request.day.weather),
            "battery_pct": request.battery_pct,
            "reserve_pct": request.reserve_pct,
            "chance": found.wanted,
        },
        "turn": _turn(found.farthest) | {"end_of_the_way": found.to_the_end},
        "even_chance_km": found.even_chance_m / 1000.0,
        "chance_of_whole_loop": found.whole_loop,
        "along": [_turn(turn) for turn in found.along],
        "card": [
            {
                "at_km": row.at_m / 1000.0,
                "turn_if_below_pct": row.go_on_pct,
                "home_needs_pct": row.home_pct,
                "home_is_onward": row.onward,
            }
            for row in found.card.rows
        ],
        "warnings": [{"code": note.code, "message": note.message} for note in found.notes],
        "versions": {"wherewatt": __version__},
    }


def homeward_document(found: Homeward) -> dict[str, Any]:
    """The way home, ready for JSON."""
    return {
        "schema": HOMEWARD_SCHEMA,
        "ride": _ride(found.result),
        "way_home": {
            "name": found.course.name,
            "back_along_the_ride": found.back_along,
            "distance_km": found.course.length_m / 1000.0,
        },
        "asked": {"reserve_pct": found.reserve_pct, "chance": found.wanted},
        "left_pct": _spread(found.left.times(100.0)),
        "enough": found.enough,
        "present": _speed(found.present),
        "best": _speed(found.best),
        "speeds": [_speed(one) for one in found.speeds],
        "warnings": [{"code": note.code, "message": note.message} for note in found.notes],
        "versions": {"wherewatt": __version__},
    }


def hill_document(found: HillTest) -> dict[str, Any]:
    """The hill test, ready for JSON."""
    return {
        "schema": HILL_SCHEMA,
        "ride": _ride(found.result),
        "hill": {"name": found.hill.name, "length_m": found.hill.length_m},
        "asked": {"reserve_pct": found.reserve_pct, "chance": found.wanted},
        "passages": [_passage(one) for one in found.passages],
        "recovered_share": found.recovered and _measure(found.recovered),
        "left_wh": _measure(found.left_wh),
        "next": {
            "both_ways": found.both_ways,
            "battery_wh": _measure(found.next_wh),
            "chance": found.chance_next,
            "more": found.more,
        },
        "warnings": [{"code": note.code, "message": note.message} for note in found.result.notes],
        "versions": {"wherewatt": __version__},
    }


def _ride(result: RideResult) -> dict[str, Any]:
    return {
        "name": result.name,
        "sha256": result.recording.track.sha256,
        "distance_km": float(result.ride.distance_m[-1]) / 1000.0,
    }


def _turn(turn: Turn) -> dict[str, Any]:
    return {
        "at_km": turn.at_m / 1000.0,
        "chance": turn.chance,
        "left_at_home_pct": _spread(turn.left.times(100.0)),
    }


def _speed(one: SpeedChance) -> dict[str, Any]:
    return {
        "top_speed_kmh": 3.6 * one.top_speed_m_s,
        "chance": one.chance,
        "time_s": one.time_s,
        "left_at_home_pct": _spread(one.left.times(100.0)),
        "sure_km": one.sure_m / 1000.0,
    }


def _passage(one: HillPassage) -> dict[str, Any]:
    return {
        "upward": one.upward,
        "start_km": one.start_m / 1000.0,
        "start_s": one.start_s,
        "duration_s": one.duration_s,
        "standing_s": one.standing_s,
        "distance_m": one.distance_m,
        "rise_m": one.rise_m,
        "mean_speed_kmh": 3.6 * one.speed_m_s,
        "battery_wh": _measure(one.energy),
        "mean_w": one.mean_w,
        "greatest_10_s_w": one.greatest_w,
        "returned_wh": one.returned and _measure(one.returned),
    }


def _spread(spread: Spread) -> dict[str, float | None]:
    return {name: value if np.isfinite(value) else None for name, value in asdict(spread).items()}


def _measure(measure: Measure) -> dict[str, float]:
    return {name: float(getattr(measure, name)) for name in ("mean", "sd", "low90", "high90")}
