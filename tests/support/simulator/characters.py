"""Six characters of ride, each a set of ranges from which a ride is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Shape(Enum):
    """How a course runs over the ground."""

    LOOP = "loop"
    OUT_AND_BACK = "out and back"
    STREETS = "streets"


@dataclass(frozen=True, slots=True)
class Character:
    """What rides of one kind have in common.

    Every pair is the range of a uniform draw; lengths in metres, waits in seconds.

    Attributes
    ----------
    shapes : tuple of Shape
        Course shapes, equally likely.
    length_m : (float, float)
        Length of the whole course.
    ascent_per_km_m : (float, float)
        Ascent looked for per kilometre [m/km].
    surfaces : dict
        Surface name to its share of the course.
    surface_run_m : (float, float)
        Length of one stretch of surface.
    bends_m : (float, float)
        Amplitude of the road's bends, 80 to 400 m long.
    lights_per_km, red_share : float
        Traffic lights (or gates, junctions) per kilometre; share of them one must wait at.
    wait_s : (float, float)
        Wait at a red light.
    bridges : (int, int)
        Fewest and most bridges.
    wind_m_s : (float, float)
        Mean wind at 10 m.
    shelter : (float, float)
        Wind at rider height over wind at 10 m, along the course.
    vehicles : dict
        Vehicle kind to its share.
    phone_share : float
        Share of rides recorded with a phone rather than with a bike computer.
    """

    shapes: tuple[Shape, ...]
    length_m: tuple[float, float]
    ascent_per_km_m: tuple[float, float]
    surfaces: dict[str, float]
    surface_run_m: tuple[float, float]
    bends_m: tuple[float, float]
    lights_per_km: float
    red_share: float
    wait_s: tuple[float, float]
    bridges: tuple[int, int]
    wind_m_s: tuple[float, float]
    shelter: tuple[float, float]
    vehicles: dict[str, float]
    phone_share: float


CHARACTERS: dict[str, Character] = {
    "commuter": Character(
        shapes=(Shape.LOOP,),
        length_m=(10_000.0, 18_000.0),
        ascent_per_km_m=(4.0, 9.0),
        surfaces={"asphalt": 0.6, "worn_asphalt": 0.2, "concrete": 0.1, "paving": 0.1},
        surface_run_m=(400.0, 2_500.0),
        bends_m=(2.0, 7.0),
        lights_per_km=1.1,
        red_share=0.55,
        wait_s=(6.0, 55.0),
        bridges=(1, 2),
        wind_m_s=(1.0, 5.0),
        shelter=(0.35, 0.60),
        vehicles={"scooter": 0.5, "ebike": 0.3, "onewheeler": 0.2},
        phone_share=0.5,
    ),
    "hilly": Character(
        shapes=(Shape.LOOP, Shape.OUT_AND_BACK),
        length_m=(12_000.0, 21_000.0),
        ascent_per_km_m=(12.0, 22.0),
        surfaces={"asphalt": 0.55, "worn_asphalt": 0.3, "gravel": 0.15},
        surface_run_m=(600.0, 3_500.0),
        bends_m=(3.0, 9.0),
        lights_per_km=0.2,
        red_share=0.5,
        wait_s=(5.0, 40.0),
        bridges=(0, 1),
        wind_m_s=(1.0, 5.5),
        shelter=(0.40, 0.65),
        vehicles={"fast_scooter": 0.45, "ebike": 0.4, "onewheeler": 0.15},
        phone_share=0.6,
    ),
    "city": Character(
        shapes=(Shape.STREETS,),
        length_m=(8_000.0, 13_000.0),
        ascent_per_km_m=(2.0, 8.0),
        surfaces={"asphalt": 0.5, "worn_asphalt": 0.2, "paving": 0.15, "cobbles": 0.15},
        surface_run_m=(200.0, 1_200.0),
        bends_m=(0.5, 1.5),
        lights_per_km=2.4,
        red_share=0.55,
        wait_s=(8.0, 60.0),
        bridges=(0, 1),
        wind_m_s=(1.0, 6.0),
        shelter=(0.30, 0.50),
        vehicles={"scooter": 0.6, "ebike": 0.2, "onewheeler": 0.2},
        phone_share=0.6,
    ),
    "trail": Character(
        shapes=(Shape.LOOP, Shape.OUT_AND_BACK),
        length_m=(9_000.0, 16_000.0),
        ascent_per_km_m=(9.0, 19.0),
        surfaces={"dirt": 0.38, "gravel": 0.3, "asphalt": 0.2, "grass": 0.1, "sand": 0.02},
        surface_run_m=(250.0, 2_000.0),
        bends_m=(5.0, 12.0),
        lights_per_km=0.15,
        red_share=0.7,
        wait_s=(10.0, 90.0),
        bridges=(0, 1),
        wind_m_s=(0.5, 5.0),
        shelter=(0.30, 0.60),
        vehicles={"fast_scooter": 0.3, "ebike": 0.4, "onewheeler": 0.3},
        phone_share=0.7,
    ),
    "windy": Character(
        shapes=(Shape.OUT_AND_BACK,),
        length_m=(13_000.0, 24_000.0),
        ascent_per_km_m=(2.0, 8.0),
        surfaces={"asphalt": 0.6, "worn_asphalt": 0.25, "concrete": 0.15},
        surface_run_m=(800.0, 4_000.0),
        bends_m=(1.0, 5.0),
        lights_per_km=0.3,
        red_share=0.5,
        wait_s=(5.0, 40.0),
        bridges=(0, 2),
        wind_m_s=(6.0, 11.0),
        shelter=(0.50, 0.75),
        vehicles={"scooter": 0.4, "fast_scooter": 0.2, "ebike": 0.3, "onewheeler": 0.1},
        phone_share=0.6,
    ),
    "mountain": Character(
        shapes=(Shape.LOOP, Shape.OUT_AND_BACK),
        length_m=(11_000.0, 18_000.0),
        ascent_per_km_m=(24.0, 36.0),
        surfaces={"asphalt": 0.5, "worn_asphalt": 0.25, "gravel": 0.15, "dirt": 0.1},
        surface_run_m=(500.0, 3_000.0),
        bends_m=(6.0, 13.0),
        lights_per_km=0.1,
        red_share=0.6,
        wait_s=(10.0, 120.0),
        bridges=(0, 1),
        wind_m_s=(1.0, 7.0),
        shelter=(0.40, 0.70),
        vehicles={"fast_scooter": 0.5, "ebike": 0.5},
        phone_share=0.5,
    ),
}
"""The characters by name."""
