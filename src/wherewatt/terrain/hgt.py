"""Terrain tiles in the .hgt layout of the Shuttle Radar Topography Mission.

A tile covers one degree; its name gives the centre of its south-west pixel. Big-endian 16-bit
metres, rows from north to south, 1201 × 1201 (3″) or 3601 × 3601 (1″) samples whose edges are
shared with the neighbours; −32768 marks a void. (USGS, SRTM documentation.)
"""

from __future__ import annotations

import gzip
import zipfile
import zlib
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wherewatt.errors import Problem, TerrainError, display_name

VOID = -32768
TILE_SIDES = {2 * side * side: side for side in (1201, 3601)}
"""Posts along one side, by the size of the file [bytes]."""
_ENDINGS = (".hgt", ".hgt.zip", ".hgt.gz")

Posts = npt.NDArray[np.int16]


def tile_name(latitude_deg: int, longitude_deg: int) -> str:
    """Name of the tile whose south-west corner is given in whole degrees, such as ``N46E007``."""
    north = "N" if latitude_deg >= 0 else "S"
    east = "E" if longitude_deg >= 0 else "W"
    return f"{north}{abs(latitude_deg):02d}{east}{abs(longitude_deg):03d}"


def find_tile(folder: Path, name: str) -> Path | None:
    """File of a tile in a folder, or in the folder of its band of latitude (``N46/``).

    The flat layout is that of SRTM.py's cache, the one with bands ("skadi") that of the open
    Terrain Tiles on AWS. Names count in any case.

    Raises
    ------
    TerrainError
        If the folder cannot be listed.
    """
    wanted = [(name + ending).lower() for ending in _ENDINGS]
    band = name[:3].lower()
    try:
        listed = sorted(folder.iterdir())
        bands = [path for path in listed if path.name.lower() == band and path.is_dir()]
        listed += [path for within in bands for path in sorted(within.iterdir())]
    except OSError as error:
        raise _unreadable(folder, error) from error
    return next((path for path in listed if path.name.lower() in wanted), None)


def read_tile(path: Path) -> Posts:
    """Heights of one tile (side, side) [m], north row first; plain files stay on disk.

    Raises
    ------
    TerrainError
        If the file cannot be read or has no tile's size.
    """
    try:
        if path.suffix.lower() == ".zip":
            data = _unzip(path)
        elif path.suffix.lower() == ".gz":
            with gzip.open(path) as stream:
                data = stream.read(max(TILE_SIDES) + 1)
        else:
            side = tile_side(path.name, path.stat().st_size)
            return np.asarray(np.memmap(path, dtype=">i2", mode="r", shape=(side, side)))
    except (OSError, EOFError, zipfile.BadZipFile, zlib.error, RuntimeError) as error:
        raise _unreadable(path, error) from error
    side = tile_side(path.name, len(data))
    return np.frombuffer(data, dtype=">i2").reshape(side, side)


def tile_side(name: str, size: int) -> int:
    """Posts along one side of a tile of so many bytes.

    Raises
    ------
    TerrainError
        If no tile has that size.
    """
    if size not in TILE_SIDES:
        expected = " or ".join(str(bytes_) for bytes_ in sorted(TILE_SIDES))
        mend = "the tile may be cut short"
        raise TerrainError(Problem(name, "", f"{size} bytes", expected, mend))
    return TILE_SIDES[size]


def _unzip(path: Path) -> bytes:
    with zipfile.ZipFile(path) as archive:
        names = [name for name in archive.namelist() if name.lower().endswith(".hgt")]
        if len(names) != 1:
            raise zipfile.BadZipFile(f"{len(names)} .hgt files in the archive")
        with archive.open(names[0]) as stream:
            return stream.read(max(TILE_SIDES) + 1)


def _unreadable(path: Path, error: Exception) -> TerrainError:
    found = str(error) or type(error).__name__
    return TerrainError(
        Problem(display_name(path), "", found, "a terrain tile", "replace the file")
    )
