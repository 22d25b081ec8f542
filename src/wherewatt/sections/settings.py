"""What the sections room can be told in config/defaults.toml, [sections] and [places]."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SectionSettings:
    """Thresholds and minimum lengths of sections; the reasons stand in the configuration file."""

    grid_m: float
    grade_threshold: float
    shortest_grade_m: float
    least_height_m: float
    terrain_change_m: float
    terrain_change_sds: float
    terrain_change_over_m: float
    stops_per_km: float
    steady_stops_per_km: float
    flow_change: float
    shortest_flow_m: float
    approach_m: float
    longest_traffic_stop_s: float
    braking_m_s2: float
    least_braked_share: float
    snap_m: float


@dataclass(frozen=True, slots=True)
class PlaceSettings:
    """When a ride runs along a tagged line."""

    reach_m: float
    direction_deg: float
