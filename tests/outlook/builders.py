"""Courses, paces and vehicles made by hand, so that a test can say exactly what is ridden."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.allocate.builders import values_of
from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.outlook.course import Course
from wherewatt.outlook.drive import Drive, drive
from wherewatt.outlook.settings import Pace

CONFIG = load_config()
# Nothing in the way of a steady cruise: no motor gives in, and no bend is felt.
STRONG = replace(
    CONFIG.pace,
    wheel_power_w=1e6,
    wheel_force_n=1e6,
    sideways_m_s2=1e6,
    coast_share=1.0,
    stop_s=20.0,
)


def straight(
    length_m: float = 2000.0,
    *,
    grade: float = 0.0,
    heading_rad: float = 0.0,
    stops_m: tuple[float, ...] = (),
    surface: str = "asphalt",
    loop: bool = False,
) -> Course:
    """A straight road of one grade, in cells of 20 m."""
    edge = np.linspace(0.0, length_m, round(length_m / 20.0) + 1)
    return Course(
        name="straight",
        edge_m=edge,
        height_m=grade * edge,
        heading_rad=np.full(len(edge) - 1, heading_rad),
        surface=np.zeros(len(edge) - 1, dtype=np.intp),
        surfaces=(surface,),
        stops_m=np.array(stops_m),
        loop=loop,
    )


def driven(course: Course, pace: Pace = STRONG, **values: float) -> Drive:
    """A ride in air of 1.225 kg/m³, by a vehicle without losses or turning masses."""
    return drive(
        course,
        pace,
        values_of(**values),
        density_kg_m3=np.full(len(course.heading_rad), 1.225),
        rotating_mass_kg=0.0,
    )


def at_speed(speed_kmh: float, pace: Pace = STRONG) -> Pace:
    """A pace of another top speed."""
    return replace(pace, top_speed_m_s=speed_kmh / 3.6)


def speed_at(ridden: Drive, distance_m: float) -> float:
    """Speed at a distance, by the point nearest to it [m/s]."""
    return float(ridden.speed_m_s[np.argmin(np.abs(ridden.at_m - distance_m))])


def in_the_middle(ridden: Drive, values: FloatArray) -> float:
    """Sum over the legs between a quarter and three quarters of the way."""
    middle = (ridden.at_m[1:] + ridden.at_m[:-1]) / 2.0 / ridden.at_m[-1]
    return float(values[(middle > 0.25) & (middle < 0.75)].sum())
