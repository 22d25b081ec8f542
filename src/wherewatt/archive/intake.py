"""Copying a ride out of its source, and the hash of its contents."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from wherewatt.archive.source import Found
from wherewatt.archive.store import Store
from wherewatt.errors import Problem, TrackError


@dataclass(frozen=True, slots=True)
class Copy:
    """A ride on this machine.

    Parameters
    ----------
    track : the copy of its track; the side files lie beside it.
    content : hash of its path, of all its files, and of all that is configured.
    """

    track: Path
    content: str


def copy_ride(source: Store, found: Found, settings: str, folder: Path) -> Copy:
    """Copy the files of a ride, each read once.

    Parameters
    ----------
    source : where they lie.
    found : the ride.
    settings : hash of all that is configured.
    folder : an empty one, where they go.

    Raises
    ------
    TrackError
        If a file cannot be read; all of them at once.
    """
    contents: list[tuple[str, str]] = []
    problems: list[Problem] = []
    for name in found.files:
        copy = folder / name
        try:
            source.fetch(found.folder + name, copy)
            with copy.open("rb") as file:
                contents.append((name, hashlib.file_digest(file, "sha256").hexdigest()))
        except OSError as error:
            reason = error.strerror or str(error) or type(error).__name__
            problems.append(Problem(name, "", reason, "a readable file", "check its permissions"))
    if problems:
        raise TrackError(*problems)
    everything = repr((settings, found.path, contents)).encode()
    track = folder / found.path.removeprefix(found.folder)
    return Copy(track, hashlib.sha256(everything).hexdigest()[:32])
