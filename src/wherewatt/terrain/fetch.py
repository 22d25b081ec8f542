"""Tiles from the network through SRTM.py: only when the user asks for it."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from wherewatt.errors import Problem, TerrainError
from wherewatt.terrain.hgt import VOID, find_tile, tile_name, tile_side

# A tile that is hardly anything but voids is no tile; one of a coast may have many.
# Common practice, no source.
_MOST_VOID = 0.99
_TIMEOUT_S = 30
_PLACE = "--fetch-terrain"
_LATER = "try again later"


def cache_folder() -> Path:
    """Folder in which SRTM.py keeps its tiles; it may not exist."""
    return Path.home() / ".cache" / "srtm"


@dataclass(slots=True)
class TileFetcher:
    """Fetches tiles into a folder, each whole or not at all.

    SRTM.py knows which tiles there are and fetches them; nothing else of it is used. What failed
    is not tried again: without a network that is every tile, else the one that was at fault.

    Parameters
    ----------
    folder : where tiles go, flat, as SRTM.py keeps them; made when the first tile comes.
    """

    folder: Path
    _failed: dict[str, TerrainError] = field(default_factory=dict, repr=False)
    _offline: TerrainError | None = field(default=None, repr=False)

    def __call__(self, south: int, west: int) -> Path | None:
        """Path of the tile with this south-west corner; None where the source has none (the sea).

        Raises
        ------
        TerrainError
            If there is no network, or the tile that came is damaged or cannot be kept.
        """
        name = tile_name(south, west)
        earlier = self._offline or self._failed.get(name)
        if earlier is not None:
            raise TerrainError(*earlier.problems)
        kept = find_tile(self.folder, name) if self.folder.is_dir() else None
        return kept or self._fetch(name, south, west)

    def _fetch(self, name: str, south: int, west: int) -> Path | None:
        import srtm  # imports an HTTP library, which no other run needs

        file_name = f"{name}.hgt"
        source = srtm.get_data(file_handler=_WholeFiles(self.folder), timeout=_TIMEOUT_S)
        if source.get_file_name(south + 0.5, west + 0.5) is None:
            return None
        try:
            if not source.retrieve_or_load_file_data(file_name):
                raise _problem(file_name, "an empty answer", _LATER)
        except Exception as error:  # SRTM.py raises bare exceptions
            if _is_offline(error):
                self._offline = self._failed[name] = _no_answer(file_name, error)
            else:
                self._failed[name] = _explained(file_name, error)
            raise self._failed[name] from error
        return self.folder / file_name


@dataclass(frozen=True, slots=True)
class _WholeFiles:
    """What SRTM.py keeps its files with: they are checked first and appear at once or never."""

    folder: Path

    def exists(self, file_name: str) -> bool:
        return False  # SRTM.py is asked only for what is not there, and would not check it

    def write(self, file_name: str, contents: bytes) -> None:
        _check(file_name, contents)
        self.folder.mkdir(parents=True, exist_ok=True)
        part = self.folder / f"{file_name}.{os.getpid()}.part"
        try:
            part.write_bytes(contents)
            part.replace(self.folder / file_name)
        finally:
            part.unlink(missing_ok=True)


def _check(file_name: str, contents: bytes) -> None:
    tile_side(file_name, len(contents))
    voids = float(np.mean(np.frombuffer(contents, dtype=">i2") == VOID))
    if voids > _MOST_VOID:
        raise _problem(file_name, f"{100 * voids:.0f} % voids", "put another tile in a folder")


def _is_offline(error: Exception) -> bool:
    from requests.exceptions import RequestException

    # SRTM.py turns a timeout into a bare exception; what it was stands in its context.
    return isinstance(error, RequestException) or isinstance(error.__context__, RequestException)


def _explained(file_name: str, error: Exception) -> TerrainError:
    if isinstance(error, TerrainError):
        return error
    if isinstance(error, OSError):
        return _problem(file_name, f"no way to keep it ({error})", "make room, or check the folder")
    if str(error).startswith("Cannot retrieve"):  # the words of SRTM.py
        return _no_answer(file_name, error)
    return _problem(file_name, f"a damaged archive ({type(error).__name__})", _LATER)


def _no_answer(file_name: str, error: Exception) -> TerrainError:
    mend = "go online, or put the tile in a folder and name it with --terrain"
    return _problem(file_name, f"no answer ({type(error).__name__})", mend)


def _problem(file_name: str, found: str, mend: str) -> TerrainError:
    return TerrainError(Problem(file_name, _PLACE, found, "a whole tile from the network", mend))
