"""Where positions are missing, the terrain under a straight line says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.terrain.builders import blended, ride_over
from wherewatt.arrays import BoolArray
from wherewatt.motion.ride import Ride

FROM_M, TO_M = 3000.0, 3800.0


def tunnel(*, recorded: bool) -> tuple[Ride, BoolArray]:
    """A ride through a mountain without satellites, at 2 % upwards, under 80 m of mountain."""
    ride = ride_over(None)
    road = 200.0 + 0.02 * ride.distance_m
    inside = (ride.distance_m > FROM_M) & (ride.distance_m < TO_M)
    height = road if recorded else np.where(inside, np.nan, road)
    return replace(ride, recorded_height_m=height, fixed=~inside), inside


@pytest.mark.parametrize("recorded", [True, False])
def test_tunnel_is_bridged(recorded: bool) -> None:
    ride, inside = tunnel(recorded=recorded)
    road = 200.0 + 0.02 * ride.distance_m
    tile = road + 80.0 * inside
    profile = blended(ride, tile)
    middle = profile.height_at(np.array([FROM_M - 200.0, 3400.0, TO_M + 200.0]))
    assert np.diff(middle) == pytest.approx([12.0, 12.0], abs=1.0 if recorded else 2.5)
    assert profile.structures == ()


def test_less_is_known_inside() -> None:
    ride, _ = tunnel(recorded=False)
    profile = blended(ride, 200.0 + 0.02 * ride.distance_m)
    sd = np.sqrt(np.diag(profile.covariance_at(np.array([2000.0, 3400.0]))))
    assert sd[1] > 1.2 * sd[0]
