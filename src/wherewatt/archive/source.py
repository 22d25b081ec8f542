"""Which rides lie in a source, and what their files look like from outside."""

from __future__ import annotations

import hashlib
import tempfile
import time
from collections import defaultdict
from collections.abc import Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from wherewatt.archive.partition import ride_of
from wherewatt.archive.store import Store
from wherewatt.errors import InputError, Problem, TrackError
from wherewatt.ingest import LOG_ENDINGS, TRACK_ENDINGS
from wherewatt.ingest.log import is_log_file
from wherewatt.ingest.recording import PLACES_NAME, SIDE_ENDINGS, may_be_track
from wherewatt.ingest.track import track_stem

# A file system may give a file that is written again within its tick the same time; the coarsest
# in use ticks every two seconds (FAT; common knowledge, no source).
_TICK_S = 2.0
_HEAD_BYTES = 1 << 16
_READERS = 16  # heads of CSV files fetched at a time

# What file systems call the thing that changes with a file's content, the surest first.
_STAMPS = ("ETag", "etag", "md5Hash", "content_md5", "mtime", "LastModified", "updated", "created")


@dataclass(frozen=True, slots=True)
class Found:
    """A ride in the source.

    Parameters
    ----------
    path : of its track within the source.
    files : names of the track and of its side files, which lie beside it, sorted.
    look : hash of their names, sizes and times; empty if those are too new to be trusted.
    """

    path: str
    files: tuple[str, ...]
    look: str

    @property
    def ride(self) -> str:
        """Its number."""
        return ride_of(self.path)

    @property
    def folder(self) -> str:
        """Where its files lie within the source; empty, or with a "/" at its end."""
        return self.path[: len(self.path) - len(PurePosixPath(self.path).name)]


def find_rides(source: Store, settings: str, known: Collection[str] = ()) -> tuple[Found, ...]:
    """Every ride of a folder and its subfolders, sorted by path; what is hidden is left out.

    Parameters
    ----------
    source : the folder.
    settings : hash of all that is configured; it belongs to what a ride looks like.
    known : paths that were rides before: of CSV files the others are looked into.

    Raises
    ------
    InputError
        If the folder cannot be read or holds no track.
    """
    if not source.exists():
        raise InputError(Problem(source.url, "", "no such folder", "a folder of tracks"))
    now_s = time.time()
    listing = source.listing()
    by_folder: dict[str, set[str]] = defaultdict(set)
    for path in listing:
        folder, _, name = path.rpartition("/")
        if not any(part.startswith(".") for part in path.split("/")):
            by_folder[folder].add(name)
    rides = []
    for path in _tracks(source, by_folder, known):
        folder, _, name = path.rpartition("/")
        files = tuple(sorted({name, *_beside(name) & by_folder[folder]}))
        infos = {file: listing[f"{folder}/{file}" if folder else file] for file in files}
        rides.append(Found(path, files, _look(infos, settings, now_s)))
    if not rides:
        endings = ", ".join(TRACK_ENDINGS)
        found = "no track in this folder"
        raise TrackError(Problem(source.url, "", found, f"files with {endings}"))
    return tuple(sorted(rides, key=lambda ride: ride.path))


def _tracks(source: Store, by_folder: Mapping[str, set[str]], known: Collection[str]) -> list[str]:
    """Paths of the tracks; which CSV files are some, their headers tell."""
    tracks: list[str] = []
    unsure: list[str] = []
    for folder, names in by_folder.items():
        for name in names:
            path = f"{folder}/{name}" if folder else name
            if may_be_track(Path(name), is_log=lambda _: True):
                is_sure = path in known or not name.lower().endswith(LOG_ENDINGS)
                (tracks if is_sure else unsure).append(path)
    with ThreadPoolExecutor(_READERS) as readers:
        are_logs = readers.map(lambda path: _is_log(source, path), unsure)
        return tracks + [path for path, is_log in zip(unsure, are_logs, strict=True) if is_log]


def _is_log(source: Store, path: str) -> bool:
    try:
        data = source.read(path, _HEAD_BYTES)
    except OSError:  # the reading of it will say why
        return True
    with tempfile.TemporaryDirectory(prefix="wherewatt.") as name:
        head = Path(name, "head.csv")
        head.write_bytes(data)
        return is_log_file(head)


def _beside(track: str) -> set[str]:
    """Names of all files that may lie beside a track."""
    stem = track_stem(Path(track))
    return {PLACES_NAME, *(stem + ending for ending in SIDE_ENDINGS)}


def _look(infos: Mapping[str, Mapping[str, Any]], settings: str, now_s: float) -> str:
    stamps = [(name, info.get("size"), _stamp(info, now_s)) for name, info in infos.items()]
    if any(stamp is None for _, _, stamp in stamps):
        return ""
    return hashlib.sha256(repr((settings, stamps)).encode()).hexdigest()[:32]


def _stamp(info: Mapping[str, Any], now_s: float) -> str | None:
    """What changes with a file's content; None where nothing can be trusted to."""
    key = next((key for key in _STAMPS if info.get(key)), None)
    if key is None or (key == "mtime" and float(info[key]) > now_s - _TICK_S):
        return None
    return f"{key} {info[key]}"
