"""Generated rides: any mix of speeds, stops, bends and hills at any sampling."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st

from tests.ingest.builders import P, gpx_text
from tests.motion.builders import distance_of, on_the_ground
from wherewatt.allocate.loads import Legs
from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

# The same examples every time, and few of them: the suite stays quick and repeatable.
QUICK = settings(deadline=None, max_examples=20, derandomize=True, database=None)
FEW = settings(QUICK, max_examples=10)
CONFIG = load_config()

SHEET = """
[vehicle]
mass_kg = 18
battery_nominal_wh = 400
{vehicle}
[rider]
mass_kg = {rider_kg}
[weather]
temperature_c = 15
wind_speed_m_s = {wind_m_s}
wind_from_deg = 250
"""


@dataclass(frozen=True, slots=True)
class Plan:
    """What a generated ride is made of."""

    sampling_s: int
    duration_s: int
    speed_m_s: float
    stops: tuple[tuple[float, float], ...]
    bend_m: float
    hill_m: float
    seed: int
    regenerative: bool
    call_outs: int

    @property
    def time_s(self) -> FloatArray:
        return np.arange(0.0, self.duration_s + 0.5, self.sampling_s)

    @property
    def way_m(self) -> FloatArray:
        return distance_of(self.time_s, speed_m_s=self.speed_m_s, stops=self.stops)

    def path(self, way_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """East and north at distances along the road [m]."""
        return way_m, self.bend_m * np.sin(way_m / 250.0)

    def height(self, way_m: FloatArray) -> FloatArray:
        return 200.0 + self.hill_m * np.sin(way_m / 400.0)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    duration = draw(st.integers(400, 1200))
    count = draw(st.integers(0, 3))
    stops = tuple(
        (duration * (number + 1) / (count + 1), duration * (number + 1) / (count + 1) + wait)
        for number, wait in enumerate(
            draw(st.lists(st.floats(5.0, 80.0), min_size=count, max_size=count))
        )
    )
    return Plan(
        sampling_s=draw(st.sampled_from([1, 2, 5])),
        duration_s=duration,
        speed_m_s=draw(st.floats(3.0, 11.0)),
        stops=stops,
        bend_m=draw(st.floats(0.0, 60.0)),
        hill_m=draw(st.floats(0.0, 20.0)),
        seed=draw(st.integers(0, 999)),
        regenerative=draw(st.booleans()),
        call_outs=draw(st.integers(0, 5)),
    )


def analysed(
    plan: Plan,
    *,
    backwards: bool = False,
    noise_m: float = 1.0,
    rider_kg: float = 80.0,
    wind_m_s: float = 3.0,
) -> RideResult:
    """The ride of a plan, written as files and taken through every room.

    `backwards` rides the same road from its end, at the same speeds.
    """
    rng = np.random.default_rng(plan.seed)
    way = plan.way_m[-1] - plan.way_m if backwards else plan.way_m
    east, north = plan.path(way)
    noise = rng.normal(0.0, noise_m, (2, len(way)))
    latitude, longitude = on_the_ground(east + noise[0], north + noise[1])
    moments = np.datetime64("2025-05-04T10:00:00") + plan.time_s.astype("timedelta64[s]")
    points = [
        P(f"{lat:.7f}", f"{lon:.7f}", f"<ele>{height:.1f}</ele><time>{moment}Z</time>")
        for lat, lon, height, moment in zip(
            latitude, longitude, plan.height(way), moments, strict=True
        )
    ]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "ride.gpx").write_text(gpx_text(points), encoding="utf-8")
        (folder / "ride.toml").write_text(
            SHEET.format(
                rider_kg=rider_kg,
                wind_m_s=wind_m_s,
                vehicle=f"regenerative_braking = {str(plan.regenerative).lower()}",
            ),
            encoding="utf-8",
        )
        _write_side_files(folder, plan)
        return analyse(folder / "ride.gpx", TileFolder(()), CONFIG)


def _write_side_files(folder: Path, plan: Plan) -> None:
    if not plan.call_outs:
        return
    at = np.linspace(0.0, plan.duration_s, plan.call_outs).astype(int)
    rows = [f"0:{s // 60:02d}:{s % 60:02d},{90 - i * 2}" for i, s in enumerate(at.tolist())]
    (folder / "ride.readings.csv").write_text(
        "\n".join(["at,battery_pct", *rows]) + "\n", encoding="utf-8"
    )
    third = plan.duration_s // 3
    edges = [f"0:{s // 60:02d}:{s % 60:02d}" for s in (third, 2 * third)]
    (folder / "ride.surface.csv").write_text(
        f"from,to,surface\n{edges[0]},{edges[1]},gravel\n", encoding="utf-8"
    )


@st.composite
def legs(draw: st.DrawFn, *, closed: bool = False) -> Legs:
    """Legs over two surfaces; `closed` ones start and end at rest, at the same height."""
    n = draw(st.integers(6, 40))
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    point_speed = rng.uniform(1.0, 10.0, n + 1)
    height = np.cumsum(rng.normal(0.0, 1.0, n + 1))
    if closed:
        point_speed[[0, -1]] = 0.0
        height += np.linspace(0.0, 1.0, n + 1) * (height[0] - height[-1])
    speed = (point_speed[1:] + point_speed[:-1]) / 2.0
    time = rng.uniform(1.0, 8.0, n)
    moving = rng.random(n) > (0.0 if closed else 0.15)
    distance = np.where(moving, speed * time, 0.0)
    return Legs(
        time_s=time,
        distance_m=distance,
        speed_m_s=np.where(moving, speed, 0.0),
        rise_m=np.where(moving, np.diff(height), 0.0),
        square_speed_change=np.where(moving, np.diff(np.square(point_speed)), 0.0),
        heading_rad=rng.uniform(-np.pi, np.pi, n),
        density_kg_m3=rng.uniform(1.0, 1.3, n),
        moving=moving,
        powered_s=time,
        rider_j=np.zeros(n),
        surface=rng.integers(0, 2, n),
        surfaces=("asphalt", "gravel"),
        rotating_mass_kg=1.5,
    )
