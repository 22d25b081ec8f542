"""The land around a ride."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from pyproj import Geod

from wherewatt.arrays import FloatArray
from wherewatt.report.backdrop import Backdrop, MapWindow, hillshade, take_backdrop, window_of
from wherewatt.report.result import RideResult
from wherewatt.terrain.source import TerrainSample, unknown_terrain


class Slope:
    """Land that rises 0.1 m per metre towards the east, with posts every 90 m."""

    def survey(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> TerrainSample:
        height = longitude_deg * 7000.0
        return TerrainSample(height, np.zeros_like(height), np.full_like(height, 90.0))


class Sea:
    """Land of which nothing is known."""

    def survey(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> TerrainSample:
        return unknown_terrain(len(latitude_deg))


def test_plane_of_the_window_has_the_lengths_of_the_ellipsoid() -> None:
    """Against PROJ's geodesics; a sphere is off by up to 0.5 %."""
    window = MapWindow(47.0, 8.0, 10_000.0, 6_000.0)
    for latitude, longitude in ((47.02, 8.0), (47.0, 8.05), (46.98, 7.96)):
        _, _, wanted = Geod(ellps="WGS84").inv(8.0, 47.0, longitude, latitude)
        east, north = window.on_plane(np.array([latitude]), np.array([longitude]))
        assert float(np.hypot(east, north)[0]) == pytest.approx(wanted, rel=0.006)


def test_grid_of_the_window_is_what_the_plane_says() -> None:
    window = MapWindow(60.0, 179.99, 4_000.0, 2_000.0)
    latitude, longitude = window.grid(40)
    assert latitude.shape == longitude.shape == (20, 40)
    assert np.all(np.abs(longitude) <= 180.0)
    assert longitude.min() < -179.9
    east, north = window.on_plane(latitude, longitude)
    assert (east[0, 0], north[0, 0]) == pytest.approx((-1950.0, 950.0), abs=1e-6)
    assert (east[-1, -1], north[-1, -1]) == pytest.approx((1950.0, -950.0), abs=1e-6)


def test_window_holds_the_ride_with_a_margin(simulated_result: RideResult) -> None:
    ride = simulated_result.ride
    window = window_of(ride)
    east, north = window.on_plane(ride.latitude_deg, ride.longitude_deg)
    assert np.max(np.abs(east)) < window.width_m / 2.0 - 190.0
    assert np.max(np.abs(north)) < window.height_m / 2.0 - 190.0
    assert 1.34 < window.aspect < 2.11


def test_a_window_across_the_date_line_is_as_large_as_elsewhere(
    simulated_result: RideResult,
) -> None:
    ride = simulated_result.ride
    shift = 180.0 - float(np.mean(ride.longitude_deg))
    moved = replace(ride, longitude_deg=(ride.longitude_deg + shift + 180.0) % 360.0 - 180.0)
    assert window_of(moved).width_m == pytest.approx(window_of(ride).width_m, rel=1e-6)


def test_level_land_is_lit_by_the_sine_of_the_sun() -> None:
    """Horn 1981: a level Lambertian surface returns the sine of the sun's elevation, here 45°."""
    shade = hillshade(np.full((5, 6), 123.0), 30.0)
    assert shade == pytest.approx(np.full((5, 6), np.sin(np.pi / 4.0)))


def test_slopes_towards_the_sun_are_bright_and_those_away_dark() -> None:
    """The sun stands in the north-west: land that falls that way is lit."""
    south, east = np.mgrid[0:12, 0:12] * 10.0
    level = np.sin(np.pi / 4.0)
    assert hillshade(0.2 * (south + east), 10.0).min() > level
    assert hillshade(-0.2 * (south + east), 10.0).max() < level


def test_a_slope_square_to_the_sun_is_white() -> None:
    """Lambert's law: full light where the normal points at the sun, a slope of 45°."""
    south, east = np.mgrid[0:6, 0:6] * 10.0
    towards_north_west = (south + east) / np.sqrt(2.0)
    assert hillshade(towards_north_west, 10.0) == pytest.approx(np.ones((6, 6)))


def test_unknown_land_is_shown_as_level() -> None:
    height = np.mgrid[0:9, 0:9][0] * 5.0
    height[4, 4] = np.nan
    shade = hillshade(height, 10.0)
    assert np.isfinite(shade).all()
    assert shade[3, 4] == pytest.approx(np.sin(np.pi / 4.0))
    assert hillshade(np.full((3, 3), np.nan), 10.0) == pytest.approx(
        np.full((3, 3), np.sin(np.pi / 4.0))
    )


def test_backdrop_is_no_finer_than_the_posts(simulated_result: RideResult) -> None:
    backdrop = take_backdrop(Slope(), simulated_result.ride)
    assert backdrop is not None
    rows, columns = backdrop.shade.shape
    assert columns == pytest.approx(backdrop.window.width_m / 90.0, abs=1.0)
    assert rows == pytest.approx(columns / backdrop.window.aspect, abs=1.0)
    assert np.ptp(backdrop.shade) < 0.01


def test_no_backdrop_where_nothing_is_known(simulated_result: RideResult) -> None:
    assert take_backdrop(Sea(), simulated_result.ride) is None


def test_image_is_the_shade() -> None:
    """Read back with Pillow."""
    shade = np.tile(np.linspace(0.2, 0.9, 64), (32, 1))
    image = Image.open(io.BytesIO(Backdrop(MapWindow(0.0, 0.0, 2.0, 1.0), shade).jpeg()))
    assert (image.mode, image.size) == ("L", (64, 32))
    assert np.asarray(image) / 255.0 == pytest.approx(shade, abs=0.03)
