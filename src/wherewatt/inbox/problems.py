"""The note beside a track that cannot be used."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path

PROBLEM_ENDING = ".problem.txt"
_LAST_LINE = "This note goes away by itself once the ride is reported."


def write_problem(track: Path, text: str, fallback: Path) -> Path | None:
    """Write a note beside a track: a line for each problem, and how the note goes away.

    Parameters
    ----------
    track : the track.
    text : the problems, a line each.
    fallback : where the note goes if nothing can be written beside the track.

    Returns
    -------
    Path or None
        Where the note is; None if it could be written nowhere.
    """
    note = f"{text}\n\n{_LAST_LINE}\n".encode("utf-8", errors="replace")
    for path in (_beside(track), fallback):
        try:
            if path == fallback:
                path.parent.mkdir(parents=True, exist_ok=True)
            if not _holds(path, note):
                _write_whole(path, note)
        except OSError:
            continue
        return path
    return None


def remove_problem(track: Path, fallback: Path) -> None:
    """Remove the note on a track, if there is one."""
    for path in (_beside(track), fallback):
        with contextlib.suppress(OSError):
            if _is_note(path):
                path.unlink()


def remove_strays(tracks: Iterable[Path], folders: Iterable[Path]) -> None:
    """Remove the notes on tracks that are gone, and half-written ones.

    Parameters
    ----------
    tracks : the tracks that are there.
    folders : where notes may lie.
    """
    wanted = {_beside(track) for track in tracks}
    for folder in folders:
        with contextlib.suppress(OSError):
            for path in folder.glob(f"*{PROBLEM_ENDING}"):
                if path not in wanted and (path.name.startswith(".") or _is_note(path)):
                    path.unlink()


def _beside(track: Path) -> Path:
    return track.with_name(track.name + PROBLEM_ENDING)


def _holds(path: Path, note: bytes) -> bool:
    return path.is_file() and path.read_bytes() == note


def _is_note(path: Path) -> bool:
    """Whether a file is a note of ours: other files of such a name are none of our business."""
    return path.is_file() and path.read_bytes().rstrip().endswith(_LAST_LINE.encode())


def _write_whole(path: Path, note: bytes) -> None:
    hidden = path.with_name(f".{path.name}")
    try:
        hidden.write_bytes(note)
        os.replace(hidden, path)
    except OSError:
        hidden.unlink(missing_ok=True)
        raise
