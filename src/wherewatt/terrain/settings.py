"""What the terrain room can be told in config/defaults.toml, [terrain]."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TerrainSettings:
    """Noise levels of the height sources; the reasons stand in the configuration file."""

    grid_m: float
    tile_sd_m: float
    tile_correlation_m: float
    grade_walk_per_root_m: float
    recorded_sd_m: float
    least_offset_walk_m_per_root_m: float
    most_offset_walk_m_per_root_m: float
    offset_walk_spread: float
    unknown_height_walk_m_per_root_m: float
    structure_height_m: float
    structure_longest_m: float
    structure_shortest_m: float
