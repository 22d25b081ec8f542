"""Terrain heights from folders of tiles, in order of preference."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.errors import Problem, TerrainError
from wherewatt.terrain.geotiff import geotiff_paths, require_rasterio
from wherewatt.terrain.hgt import find_tile, tile_name
from wherewatt.terrain.hgt_tiles import HgtTiles
from wherewatt.terrain.mosaic import find_rasters
from wherewatt.terrain.source import TerrainSample, TerrainSource, unknown_terrain

_PART = 8000  # places at a time: what is worked out on the way stays in fast memory

Fetch = Callable[[int, int], Path | None]


@dataclass(slots=True)
class TileFolder:
    """Folders of .hgt and GeoTIFF tiles, in order of preference; opened when first needed.

    Within a folder GeoTIFFs come first, the finer before the coarser. Where a source has no
    height, or only one filled in over a void, the next is asked.

    Parameters
    ----------
    folders : where to look for ``N46E007.hgt`` (plain, .zip or .gz; also in ``N46/``) and for
        GeoTIFFs of any name (also one folder down).
    fetch : called with the south-west corner of a tile that no folder has, if places would have
        no height without it; returns the tile's path or None.
    """

    folders: tuple[Path, ...]
    fetch: Fetch | None = None
    _sources: tuple[TerrainSource, ...] | None = field(default=None, repr=False)
    _network: TerrainSource | None = field(default=None, repr=False)

    def sample(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
        """(n,) terrain height [m]; see `survey`."""
        return self.survey(latitude_deg, longitude_deg).height_m

    def survey(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> TerrainSample:
        """Terrain at n places; NaN where there is no tile or no post within reach.

        Raises
        ------
        TerrainError
            If a file that is there cannot be read, or a tile cannot be fetched.
        """
        if self._sources is None:
            self._sources = tuple(source for path in self.folders for source in _sources_in(path))
        if self.fetch is not None and self._network is None:
            self._network = HgtTiles(_fetcher(self.fetch, self.folders))
        places = len(latitude_deg)
        if places <= _PART:
            return self._survey(latitude_deg, longitude_deg).noted()
        whole = TerrainSample(np.empty(places), np.empty(places), np.empty(places))
        for first in range(0, places, _PART):
            part = slice(first, first + _PART)
            sample = self._survey(latitude_deg[part], longitude_deg[part])
            whole.height_m[part] = sample.height_m
            whole.void_m[part] = sample.void_m
            whole.post_spacing_m[part] = sample.post_spacing_m
        return whole.noted()

    def _survey(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> TerrainSample:
        placed = np.isfinite(latitude_deg + longitude_deg)
        if not placed.all():
            sample = unknown_terrain(len(placed))
            if placed.any():
                at = np.flatnonzero(placed)
                sample.write(at, self._survey(latitude_deg[at], longitude_deg[at]))
            return sample
        first, *others = self._sources or (HgtTiles(_nowhere),)
        sample = first.survey(latitude_deg, longitude_deg)
        for source in others:
            unsure = np.flatnonzero(sample.void_m > 0.0)
            _complete(sample, source, unsure, latitude_deg, longitude_deg)
        if self._network is not None:
            unknown = np.flatnonzero(np.isnan(sample.height_m))
            _complete(sample, self._network, unknown, latitude_deg, longitude_deg)
        return sample


def _complete(
    sample: TerrainSample,
    source: TerrainSource,
    at: IntArray,
    latitude_deg: FloatArray,
    longitude_deg: FloatArray,
) -> None:
    """Ask a source about some places and take its heights where they are surer."""
    if len(at):
        sample.write(at, source.survey(latitude_deg[at], longitude_deg[at]))


def _nowhere(south: int, west: int) -> None:
    """No folder, no tile."""


def _sources_in(folder: Path) -> list[TerrainSource]:
    def find(south: int, west: int) -> Path | None:
        return find_tile(folder, tile_name(south, west))

    return [*find_rasters(folder), HgtTiles(find)]


def _fetcher(fetch: Fetch, folders: tuple[Path, ...]) -> Fetch:
    """Fetch only what no folder has: a void within a tile is no reason to."""

    def find(south: int, west: int) -> Path | None:
        name = tile_name(south, west)
        if any(find_tile(folder, name) for folder in folders):
            return None
        return fetch(south, west)

    return find


def terrain_folders(folders: tuple[Path, ...]) -> tuple[Path, ...]:
    """Check the folders a user named for tiles.

    Raises
    ------
    TerrainError
        If one is not a folder, or holds GeoTIFFs that cannot be read for want of rasterio.
    """
    wrong = [
        Problem(str(folder), "", "no such folder", "a folder with terrain tiles", "check --terrain")
        for folder in folders
        if not folder.is_dir()
    ]
    if wrong:
        raise TerrainError(*wrong)
    for folder in folders:
        for path in geotiff_paths(folder)[:1]:
            require_rasterio(path)
    return folders
