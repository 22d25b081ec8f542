"""Lengths and directions of legs against pyproj's geodesics."""

from __future__ import annotations

import numpy as np
import pytest

from tests.motion.builders import WGS84
from wherewatt.motion.geodesy import Legs, leg_lengths


def course(
    latitude: float, longitude: float, step_deg: float, *, seed: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    """Points within a step of a place."""
    off = np.random.default_rng(seed).uniform(-0.5, 0.5, (2, 400)) * step_deg
    return latitude + off[0], (longitude + off[1] + 180.0) % 360.0 - 180.0


@pytest.mark.parametrize("latitude", [0.0, 20.0, 45.0, -60.0, 80.0, 89.9])
@pytest.mark.parametrize("longitude", [7.0, 180.0])
@pytest.mark.parametrize("step_deg", [0.0001, 0.001, 0.01])
def test_short_legs_are_geodesics(latitude: float, longitude: float, step_deg: float) -> None:
    """As pyproj has them (Karney 2013), which is good to some nanometres."""
    north, east = course(latitude, longitude, step_deg)
    azimuth, _, metres = WGS84.inv(east[:-1], north[:-1], east[1:], north[1:])
    legs = Legs.between(north, east)
    assert legs.length_m == pytest.approx(metres, abs=5e-6)
    across_m = metres * np.sin(legs.azimuth_rad - np.radians(azimuth))
    assert across_m == pytest.approx(0.0, abs=2e-5)


def test_long_legs_among_short_ones() -> None:
    """Across the date line, and half around the earth."""
    north = np.array([10.0, 10.001, 10.002, -40.0, -40.001, 60.0])
    east = np.array([179.999, -179.999, -179.998, 20.0, 20.001, 20.001])
    azimuth, _, metres = WGS84.inv(east[:-1], north[:-1], east[1:], north[1:])
    legs = Legs.between(north, east)
    assert legs.length_m == pytest.approx(metres, rel=1e-9)
    assert np.cos(legs.azimuth_rad - np.radians(azimuth)) == pytest.approx(1.0, abs=1e-12)


def test_a_leg_that_goes_nowhere() -> None:
    assert leg_lengths(np.full(3, 46.0), np.full(3, 7.0)).tolist() == [0.0, 0.0]
