"""Terrain tiles in the .hgt layout of the Shuttle Radar Topography Mission.

A tile covers one degree; its name gives the centre of its south-west pixel. Big-endian 16-bit
metres, rows from north to south, 1201 × 1201 (3″) or 3601 × 3601 (1″) samples whose edges are
shared with the neighbours; −32768 marks a void. (USGS, SRTM documentation.)
"""

from __future__ import annotations

import gzip
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wherewatt.arrays import FloatArray
from wherewatt.errors import Problem, TerrainError, display_name

VOID = -32768
_SIZES = {2 * side * side: side for side in (1201, 3601)}
_ENDINGS = (".hgt", ".hgt.zip", ".hgt.gz")

Tile = npt.NDArray[np.int16]


def tile_name(latitude_deg: int, longitude_deg: int) -> str:
    """Name of the tile whose south-west corner is given in whole degrees, such as ``N46E007``."""
    north = "N" if latitude_deg >= 0 else "S"
    east = "E" if longitude_deg >= 0 else "W"
    return f"{north}{abs(latitude_deg):02d}{east}{abs(longitude_deg):03d}"


def read_tile(path: Path) -> Tile:
    """Heights of one tile (side, side) [m], north row first; plain files stay on disk.

    Raises
    ------
    TerrainError
        If the file cannot be read or has no tile's size.
    """
    try:
        if path.suffix == ".zip":
            data = _unzip(path)
        elif path.suffix == ".gz":
            with gzip.open(path) as stream:
                data = stream.read(max(_SIZES) + 1)
        else:
            side = _side(path, path.stat().st_size)
            return np.memmap(path, dtype=">i2", mode="r", shape=(side, side))
    except (OSError, EOFError, zipfile.BadZipFile, zlib.error) as error:
        raise TerrainError(
            Problem(display_name(path), "", str(error), "a terrain tile", "replace the file")
        ) from error
    side = _side(path, len(data))
    return np.frombuffer(data, dtype=">i2").reshape(side, side)


def _unzip(path: Path) -> bytes:
    with zipfile.ZipFile(path) as archive:
        names = [name for name in archive.namelist() if name.lower().endswith(".hgt")]
        if len(names) != 1:
            raise zipfile.BadZipFile(f"{len(names)} .hgt files in the archive")
        with archive.open(names[0]) as stream:
            return stream.read(max(_SIZES) + 1)


def _side(path: Path, size: int) -> int:
    if size not in _SIZES:
        expected = " or ".join(str(bytes_) for bytes_ in sorted(_SIZES))
        raise TerrainError(
            Problem(
                display_name(path), "", f"{size} bytes", f"{expected}", "the tile may be cut short"
            )
        )
    return _SIZES[size]


def bilinear(tile: Tile, row: FloatArray, column: FloatArray) -> FloatArray:
    """Height at fractional rows (from north) and columns [m].

    A void corner is left out and the weights of the others scaled up; NaN where all that bear
    weight are void.
    """
    side = tile.shape[0]
    top = np.clip(np.floor(row).astype(np.intp), 0, side - 2)
    left = np.clip(np.floor(column).astype(np.intp), 0, side - 2)
    down, right = row - top, column - left
    total = np.zeros(len(row))
    weights = np.zeros(len(row))
    for step_down, weight_down in ((0, 1.0 - down), (1, down)):
        for step_right, weight_right in ((0, 1.0 - right), (1, right)):
            height = np.asarray(tile[top + step_down, left + step_right], dtype=float)
            weight = np.where(height == VOID, 0.0, weight_down * weight_right)
            total += weight * height
            weights += weight
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weights > 1e-9, total / weights, np.nan)


@dataclass(slots=True)
class TileFolder:
    """Tiles in folders, in order of preference; opened when first needed.

    Parameters
    ----------
    folders : where to look for ``N46E007.hgt`` (plain, .zip or .gz).
    fetch : called with the tile's name when no folder has it; returns the tile's path or None.
    """

    folders: tuple[Path, ...]
    fetch: Callable[[int, int], Path | None] | None = None
    missing: set[str] = field(default_factory=set)
    _open: dict[str, Tile | None] = field(default_factory=dict, repr=False)

    def sample(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
        """(n,) terrain height [m]; NaN where there is no tile or only voids.

        Raises
        ------
        TerrainError
            If a tile that is there cannot be read.
        """
        heights = np.full(len(latitude_deg), np.nan)
        south = np.floor(latitude_deg)
        west = np.floor(longitude_deg)
        for corner in sorted(set(zip(south.tolist(), west.tolist(), strict=True))):
            tile = self._tile(int(corner[0]), int(corner[1]))
            if tile is None:
                continue
            here = (south == corner[0]) & (west == corner[1])
            span = tile.shape[0] - 1
            row = (corner[0] + 1.0 - latitude_deg[here]) * span
            column = (longitude_deg[here] - corner[1]) * span
            heights[here] = bilinear(tile, row, column)
        return heights

    def _tile(self, south: int, west: int) -> Tile | None:
        name = tile_name(south, west)
        if name not in self._open:
            path = self._find(name)
            if path is None and self.fetch is not None:
                path = self.fetch(south, west)
            if path is None:
                self.missing.add(name)
            self._open[name] = None if path is None else read_tile(path)
        return self._open[name]

    def _find(self, name: str) -> Path | None:
        wanted = {(name + ending).lower() for ending in _ENDINGS}
        for folder in self.folders:
            found = [path for path in sorted(folder.iterdir()) if path.name.lower() in wanted]
            if found:
                return found[0]
        return None


def terrain_folders(folders: tuple[Path, ...]) -> tuple[Path, ...]:
    """Check the folders a user named for tiles.

    Raises
    ------
    TerrainError
        If one is not a folder.
    """
    wrong = [
        Problem(str(folder), "", "no such folder", "a folder with .hgt tiles", "check --terrain")
        for folder in folders
        if not folder.is_dir()
    ]
    if wrong:
        raise TerrainError(*wrong)
    return folders
