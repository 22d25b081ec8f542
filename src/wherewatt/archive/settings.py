"""What an archive is made with."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from wherewatt import __version__
from wherewatt.config import Config
from wherewatt.pipeline import open_tiles

# Changes with what the tables hold, so that they are made anew.
_LAYOUT = 1


@dataclass(frozen=True, slots=True)
class ArchiveSettings:
    """All that is configured; equal keys give equal rows.

    Parameters
    ----------
    config : the configuration.
    terrain : folders of terrain tiles; every worker must see them.
    fetch_terrain : whether missing tiles are fetched from the network.
    key : hash of all this, and of names and sizes of the tiles.
    """

    config: Config
    terrain: tuple[Path, ...]
    fetch_terrain: bool
    key: str


def archive_settings(
    config: Config, terrain: Sequence[Path] = (), *, fetch_terrain: bool = False
) -> ArchiveSettings:
    """Settings with their key.

    Raises
    ------
    TerrainError
        If a folder is not there, or cannot be used.
    """
    folders = tuple(folder.absolute() for folder in terrain)
    open_tiles(terrain)  # says so if a folder is not there
    tiles = [
        (path.name, path.stat().st_size)
        for folder in folders
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    ]
    everything = (__version__, _LAYOUT, config, tiles, fetch_terrain)
    key = hashlib.sha256(repr(everything).encode()).hexdigest()
    return ArchiveSettings(config, folders, fetch_terrain, key)
