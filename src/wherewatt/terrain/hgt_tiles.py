"""Heights from .hgt tiles, each found and opened when a place first needs it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.terrain.hgt import Posts, read_tile
from wherewatt.terrain.interpolate import degrees_to_metres, interpolate, without_impossible
from wherewatt.terrain.source import TerrainSample, unknown_terrain

_OPEN_TILES = 4  # kept open: a ride is rarely in more; unpacked ones are up to 26 MB each


@dataclass(frozen=True, slots=True, eq=False)
class TilePosts:
    """The posts of one tile as a `PostGrid`."""

    posts: Posts

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of posts."""
        return self.posts.shape[0], self.posts.shape[1]

    def squares(self, top: IntArray, left: IntArray) -> list[FloatArray]:
        """Heights of the posts around n squares, four times (n,) [m]; NaN for a void."""
        columns = self.shape[1]
        flat = self.posts.ravel()
        at = top * columns
        at += left
        heights = []
        for step in (0, 1, columns - 1, 1):
            at += step
            heights.append(without_impossible(flat.take(at).astype(float)))
        return heights

    def window(self, top: int, left: int, shape: tuple[int, int]) -> FloatArray:
        """Heights of a block of posts [m]; NaN for a void."""
        block = self.posts[top : top + shape[0], left : left + shape[1]]
        return without_impossible(block.astype(float))


@dataclass(frozen=True, slots=True)
class HgtTiles:
    """Tiles by their south-west corner, found and opened when first needed.

    Parameters
    ----------
    find : gives the file of the tile with a south-west corner in whole degrees, or None.
    """

    find: Callable[[int, int], Path | None]
    _found: dict[tuple[int, int], Path | None] = field(default_factory=dict, repr=False)
    _read: Callable[[Path], Posts] = field(
        default_factory=lambda: lru_cache(maxsize=_OPEN_TILES)(read_tile), repr=False
    )

    def survey(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> TerrainSample:
        """Heights at n places; NaN where there is no tile.

        A place on an edge belongs to the tile north or east of it; if that is not there, to the
        other one, which has the same edge.

        Raises
        ------
        TerrainError
            If a tile that is there cannot be read.
        """
        latitude, longitude = latitude_deg, longitude_deg
        if np.any(longitude >= 180.0):
            longitude = np.where(longitude >= 180.0, longitude - 360.0, longitude)
        south, west = np.floor(latitude), np.floor(longitude)
        sample = self._by_corner(latitude, longitude, south, west)
        for back_south, back_west in ((True, False), (False, True), (True, True)):
            left = np.isnan(sample.height_m)
            if not left.any():
                break
            left &= (latitude == south) | (not back_south)
            left &= (longitude == west) | (not back_west)
            if left.any():
                at = np.flatnonzero(left)
                corners = south[at] - back_south, west[at] - back_west
                sample.write(at, self._by_corner(latitude[at], longitude[at], *corners))
        return sample

    def _by_corner(
        self, latitude: FloatArray, longitude: FloatArray, south: FloatArray, west: FloatArray
    ) -> TerrainSample:
        """Heights by the tiles with these south-west corners, one for each place."""
        corners = _different(south, west)
        if len(corners) == 1:
            return self._in_tile(*corners[0], latitude, longitude)
        sample = unknown_terrain(len(latitude))
        for corner in corners:
            at = np.flatnonzero((south == corner[0]) & (west == corner[1]))
            sample.write(at, self._in_tile(*corner, latitude[at], longitude[at]))
        return sample

    def _in_tile(
        self, south: int, west: int, latitude: FloatArray, longitude: FloatArray
    ) -> TerrainSample:
        posts = self._posts(south, (west + 180) % 360 - 180)
        if posts is None:
            return unknown_terrain(len(latitude))
        span = posts.shape[0] - 1
        per_degree = degrees_to_metres(south + 0.5)
        spacing = per_degree[0] / span, per_degree[1] / span
        row, column = (south + 1.0 - latitude) * span, (longitude - west) * span
        height_m, void_m = interpolate(TilePosts(posts), row, column, spacing)
        return TerrainSample(height_m, void_m, np.full(len(height_m), max(spacing)))

    def _posts(self, south: int, west: int) -> Posts | None:
        corner = south, west
        if corner not in self._found:
            self._found[corner] = self.find(south, west)
        path = self._found[corner]
        return None if path is None else self._read(path)


def _different(south: FloatArray, west: FloatArray) -> list[tuple[int, int]]:
    """The different ones of some corners; along a ride they rarely change."""
    changed = (south[1:] != south[:-1]) | (west[1:] != west[:-1])
    at = np.concatenate([np.arange(min(1, len(south))), np.flatnonzero(changed) + 1])
    pairs = set(zip(south[at].tolist(), west[at].tolist(), strict=True))
    return sorted((int(corner[0]), int(corner[1])) for corner in pairs)
