"""Which rides lie in a folder, and in what state their files are."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path, PurePosixPath
from typing import NoReturn

from wherewatt.ingest import TRACK_ENDINGS
from wherewatt.ingest.log import is_log_file
from wherewatt.ingest.recording import PLACES_NAME, SIDE_ENDINGS, may_be_track
from wherewatt.ingest.track import track_stem

# What programs append to the name of a file that they still write; common practice, no source.
UNFINISHED_ENDINGS = (".part", ".partial", ".crdownload", ".download", ".filepart", ".tmp")

# Of files that are hidden, or belong to a program that has another file open.
_PASSED_OVER = (".", "~")


@dataclass(frozen=True, slots=True)
class FileState:
    """What tells without reading it whether a file has changed.

    The time of its last change of any kind is among it: copying programs set back the other one.
    """

    name: str
    size_bytes: int
    modified_ns: int
    changed_ns: int
    inode: int


@dataclass(frozen=True, slots=True)
class Drop:
    """A ride as it lies in the watched folder.

    Parameters
    ----------
    track : the track file.
    name : its path within the watched folder, with slashes.
    states : its files: the track, its side files, and what a program is writing to become one.
    rival : name of the track that has the same name but for its ending and came first; or empty.
    """

    track: Path
    name: str
    states: tuple[FileState, ...]
    rival: str = ""

    @property
    def result(self) -> str:
        """Path of the result within the folder of results, with slashes."""
        return str(PurePosixPath(self.name).with_name(track_stem(self.track)))

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of the files that are read."""
        return tuple(
            state.name for state in self.states if not state.name.endswith(UNFINISHED_ENDINGS)
        )

    @property
    def unfinished(self) -> bool:
        """Whether a program seems to be writing one of the files under another name."""
        return len(self.inputs) < len(self.states)

    def unchanged(self) -> bool:
        """Whether the files are still what they were."""
        return self.states == _states(self.track)


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen in a folder: rides by name, and a line for each folder that kept them back."""

    drops: tuple[Drop, ...]
    troubles: tuple[str, ...]


def look_into(folder: Path, out: Path, owner: Callable[[str], str]) -> Look:
    """Find the rides of a folder and its subfolders.

    Left out are hidden files and folders, temporary files, CSV files that are no logs, and the
    folder of results.

    Parameters
    ----------
    folder : the watched folder; an absolute path.
    out : the folder of results; an absolute path.
    owner : gives the file name of the track that a result was made of, or "".

    Raises
    ------
    OSError
        If the folder itself cannot be read.
    """
    troubles: list[str] = []

    def missed(error: OSError) -> None:
        if Path(error.filename) == folder:
            _raise(error)
        if not isinstance(error, FileNotFoundError):  # else it was removed meanwhile
            troubles.append(f"{error.filename}: cannot be looked into: {error.strerror}")

    drops: list[Drop] = []
    for parent, folders, names in os.walk(folder, onerror=missed):
        folders[:] = [
            name
            for name in folders
            if not name.startswith(_PASSED_OVER) and Path(parent, name) != out
        ]
        drops += _drops_of(folder, Path(parent), frozenset(names))
    return Look(tuple(_with_rivals(drops, owner)), tuple(troubles))


def _raise(error: OSError) -> NoReturn:
    raise error


def _drops_of(folder: Path, parent: Path, names: frozenset[str]) -> Iterator[Drop]:
    """Rides of one folder."""
    for name in sorted(names):
        if not name.lower().endswith(TRACK_ENDINGS) or name.startswith(_PASSED_OVER):
            continue
        track = parent / name
        states = _states(track, names)
        if not states or states[0].name != name:
            continue
        if may_be_track(track, partial(_is_log, _state=states[0])):
            yield Drop(track, track.relative_to(folder).as_posix(), states)


def _states(track: Path, names: frozenset[str] | None = None) -> tuple[FileState, ...]:
    """State of the files of a ride, the track's first; of those named only, which saves time."""
    stem = track_stem(track)
    wanted = [track.name, *(stem + ending for ending in SIDE_ENDINGS), PLACES_NAME]
    written = [name + ending for name in wanted for ending in UNFINISHED_ENDINGS]
    states = (
        _state(track.with_name(name))
        for name in (*wanted, *written)
        if names is None or name in names
    )
    return tuple(state for state in states if state is not None)


def _state(path: Path) -> FileState | None:
    """State of a file; None if there is none, or what is there is no file."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    if not stat.S_ISREG(found.st_mode):  # the reading of a pipe might never end
        return None
    return FileState(path.name, found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino)


@lru_cache(maxsize=4096)
def _is_log(path: Path, _state: FileState) -> bool:
    return is_log_file(path)


def _with_rivals(drops: Iterable[Drop], owner: Callable[[str], str]) -> list[Drop]:
    """The same rides; of those that would have one result, all but one know their rival.

    It belongs to the one that has it already, else to the first by name.
    """
    by_result: dict[str, list[Drop]] = {}
    for drop in drops:
        by_result.setdefault(drop.result, []).append(drop)
    for result, drops_of_it in by_result.items():
        if len(drops_of_it) > 1:
            names = [drop.track.name for drop in drops_of_it]
            has_it = owner(result)
            first = has_it if has_it in names else names[0]
            by_result[result] = [
                drop if drop.track.name == first else replace(drop, rival=first)
                for drop in drops_of_it
            ]
    return [drop for drops_of_it in by_result.values() for drop in drops_of_it]
