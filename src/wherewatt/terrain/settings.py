"""What the terrain room can be told in config/defaults.toml, [terrain]."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TerrainSettings:
    """Noise levels of the height sources; the reasons stand in the configuration file."""

    grid_m: float
    longest_line_m: float
    steepest: float
    height_step_m: float
    own_datum_m: float
    grade_walk_per_root_m: float
    grade_walk_spread: float
    tile_sd_m: float
    tile_sd_spread: float
    tile_correlation_m: float
    tile_white_m: float
    wander_per_square_m: float
    least_wander_m: float
    most_wander_m: float
    wander_spread: float
    wander_s: float
    weather_walk_m_per_root_s: float
    white_spread: float
    unruly_walk_per_root_m: float
    structure_height_m: float
    bridge_sds: float
    cutting_sds: float
    structure_longest_m: float
    structure_shortest_m: float
    same_place_m: float
    tie_m: float
    tie_sd_m: float
    most_ties: int
    most_tie_sds: float
    level_sd_m: float
    turn_m: float
