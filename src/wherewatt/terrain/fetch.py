"""Tiles from the network through SRTM.py: only when the user asks for it."""

from __future__ import annotations

from pathlib import Path

from wherewatt.errors import Problem, TerrainError
from wherewatt.terrain.tiles import tile_name


def cache_folder() -> Path:
    """Folder in which SRTM.py keeps its tiles; it may not exist."""
    return Path.home() / ".cache" / "srtm"


def fetch_tile(south: int, west: int) -> Path | None:
    """Fetch a tile into SRTM.py's cache; None where that source has none (the sea).

    SRTM.py finds and fetches; the heights are sampled by `wherewatt.terrain.tiles`.

    Raises
    ------
    TerrainError
        If the tile cannot be fetched.
    """
    import srtm  # imports an HTTP library, which no other run needs

    name = tile_name(south, west)
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        source = srtm.get_data(local_cache_dir=str(folder))
        source.get_file(south + 0.5, west + 0.5)
    except Exception as error:  # SRTM.py raises bare exceptions
        raise TerrainError(
            Problem(
                name,
                "--fetch-terrain",
                f"no answer ({type(error).__name__})",
                "a tile from the network",
                "go online, or put the tile in a folder and name it with --terrain",
            )
        ) from error
    path = folder / f"{name}.hgt"
    return path if path.exists() else None
