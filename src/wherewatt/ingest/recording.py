"""A ride as recorded: the track and the files beside it."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn, TypeVar

from wherewatt.errors import InputError, Problem, SideFileError, TrackError, display_name
from wherewatt.ingest import LOG_ENDINGS, TRACK_ENDINGS, read_track
from wherewatt.ingest.log import is_log_file, read_pack_log
from wherewatt.ingest.places import TaggedLine, read_places
from wherewatt.ingest.readings import CallOut, read_readings
from wherewatt.ingest.sheet import RideSheet, VehicleSheet, read_sheet
from wherewatt.ingest.source import DEFAULT_LIMITS, Limits
from wherewatt.ingest.tags import SurfaceTag, read_tags
from wherewatt.ingest.track import Track, track_stem

READINGS_ENDING = ".readings.csv"
TAGS_ENDING = ".surface.csv"
SHEET_ENDING = ".toml"
PACK_LOG_ENDING = ".log.csv"
PLACES_NAME = "places.geojson"

SIDE_ENDINGS = (READINGS_ENDING, TAGS_ENDING, SHEET_ENDING, PACK_LOG_ENDING)

T = TypeVar("T")


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A track and what its user wrote beside it; what is absent is empty.

    Parameters
    ----------
    track : the points.
    call_outs : battery readings, in the order of their file.
    tags : hand tags of this ride.
    places : lines tagged for every ride.
    sheet : the ride sheet.
    pack_log : battery voltage and current of a logger in its own file; None without one.
    """

    track: Track
    call_outs: tuple[CallOut, ...]
    tags: tuple[SurfaceTag, ...]
    places: tuple[TaggedLine, ...]
    sheet: RideSheet
    pack_log: Track | None = None


def read_recording(
    track_path: Path | str,
    *,
    known_surfaces: Collection[str],
    vehicle_kinds: Mapping[str, VehicleSheet],
    limits: Limits = DEFAULT_LIMITS,
) -> Recording:
    """Read a track and the side files that lie beside it.

    For ``ride.gpx`` (or another of `TRACK_ENDINGS`) these are ``ride.readings.csv``,
    ``ride.surface.csv``, ``ride.toml``, ``ride.log.csv`` and ``places.geojson``, all optional.

    Raises
    ------
    TrackError
        If the track cannot be read.
    SideFileError
        With the problems of all side files.
    """
    path = Path(track_path)
    track = read_track(path, limits=limits)
    stem = track_stem(path)
    problems: list[Problem] = []

    def beside(name: str, read: Callable[[Path], T], absent: T) -> T:
        side_path = path.with_name(name)
        if not side_path.exists():
            return absent
        try:
            return read(side_path)
        except InputError as error:
            problems.extend(error.problems)
            return absent

    recording = Recording(
        track=track,
        call_outs=beside(stem + READINGS_ENDING, read_readings, ()),
        tags=beside(stem + TAGS_ENDING, lambda side: read_tags(side, known_surfaces), ()),
        places=beside(PLACES_NAME, lambda side: read_places(side, known_surfaces), ()),
        sheet=beside(
            stem + SHEET_ENDING, lambda side: read_sheet(side, vehicle_kinds), RideSheet()
        ),
        pack_log=beside(stem + PACK_LOG_ENDING, lambda side: read_pack_log(side, limits), None),
    )
    if problems:
        raise SideFileError(*problems)
    return recording


def find_tracks(paths: Iterable[Path | str]) -> tuple[Path, ...]:
    """Track files among files and folders, sorted, each once.

    A file is taken whatever its name; a folder is searched with its subfolders for
    `TRACK_ENDINGS`, leaving out what is hidden, and CSV files whose header is not that of a log.

    Raises
    ------
    TrackError
        If a path is missing, a folder cannot be read or holds no track; all of them at once.
    """
    found: dict[Path, Path] = {}
    problems: list[Problem] = []
    for given in map(Path, paths):
        try:
            tracks = list(_tracks_in(given)) if given.is_dir() else [given]
            for track in tracks:
                found.setdefault(track.resolve(strict=True), track)
        except (OSError, RuntimeError, ValueError) as error:  # a loop of links, a zero byte
            reason = getattr(error, "strerror", None) or str(error)
            problems.append(Problem(str(given), "", reason, "a track file or a folder of tracks"))
            continue
        if not tracks:
            endings = ", ".join(TRACK_ENDINGS)
            problems.append(
                Problem(display_name(given), "", "no track in this folder", f"files with {endings}")
            )
    if problems:
        raise TrackError(*problems)
    return tuple(sorted(found.values()))


def _tracks_in(folder: Path) -> Iterator[Path]:
    """Track files of a folder and its subfolders."""
    for parent, folders, names in os.walk(folder, onerror=_raise):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in names:
            if not name.startswith(".") and may_be_track(path := Path(parent, name)):
                yield path


def may_be_track(path: Path, is_log: Callable[[Path], bool] = is_log_file) -> bool:
    """Whether a file of a folder is meant to be a track: many other tables are CSV too.

    Parameters
    ----------
    is_log : tells whether a CSV file is a log; it may raise OSError.
    """
    name = path.name.lower()
    if not name.endswith(LOG_ENDINGS):
        return name.endswith(TRACK_ENDINGS)
    if name.removesuffix(".gz").endswith(SIDE_ENDINGS):
        return False
    try:
        return is_log(path)
    except OSError:  # the reading of it will say why
        return True


def _raise(error: OSError) -> NoReturn:
    """Let an unreadable folder be an error: os.walk would pass it over."""
    raise error
