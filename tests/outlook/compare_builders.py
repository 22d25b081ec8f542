"""Drives made by hand and simulated rides to compare."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.allocate.builders import values_of
from tests.support.simulator import simulate
from wherewatt.allocate.loads import Legs
from wherewatt.config import load_config
from wherewatt.outlook.contributions import Unknowns
from wherewatt.outlook.switching import Neutral
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

CONFIG = load_config()
LOSSY = {"drivetrain_efficiency": 0.75, "auxiliary_w": 5.0}
# The vehicle of the closed forms: 100 kg, 0.60 m², 0.012, efficiency 0.75, 5 W, 1.225 kg/m³.
NEUTRAL = Neutral(surface="asphalt", speed_m_s=25.0 / 3.6, mass_kg=100.0, density_kg_m3=1.225)


def unknowns_of(values: dict[str, float] | None = None) -> Unknowns:
    """A vehicle of which every value is known to 10 %, each on its own."""
    values = values_of(**LOSSY) if values is None else values
    column = {name: number for number, name in enumerate(values)}
    slopes = {name: 0.1 * abs(value) or 0.1 for name, value in values.items()}
    return Unknowns(values, slopes, column, np.eye(len(values)))


def like_neutral(kilometres: int = 4, **changed: object) -> Legs:
    """Legs of 20 m of the neutral ride, half of it north and half of it back, some changed."""
    n = 50 * kilometres
    speed = np.full(n, NEUTRAL.speed_m_s)
    way = np.full(n, 20.0)
    legs = Legs(
        time_s=way / speed,
        distance_m=way,
        speed_m_s=speed,
        rise_m=np.zeros(n),
        square_speed_change=np.zeros(n),
        heading_rad=np.repeat([0.0, np.pi], n // 2),
        density_kg_m3=np.full(n, NEUTRAL.density_kg_m3),
        moving=np.ones(n, dtype=bool),
        powered_s=way / speed,
        rider_j=np.zeros(n),
        surface=np.zeros(n, dtype=np.intp),
        surfaces=("asphalt",),
        rotating_mass_kg=0.0,
    )
    return replace(legs, **changed)  # type: ignore[arg-type]


def simulated(
    folder: Path, character: str, seed: int, garage: int, *, name: str | None = None
) -> RideResult:
    """A simulated ride of an owner's vehicle, which is named after the owner if not otherwise."""
    sim = simulate(character, seed, garage=garage)
    sheet = replace(sim.sheet, vehicle_name=name or f"vehicle {garage}")
    track = replace(sim, sheet=sheet).write(
        folder, stem=f"{character}_{seed}_{garage}", recharge=True
    )
    sim.write_tile(folder, 3)
    return analyse(track, TileFolder((folder,)), CONFIG)
