"""The sample rides in a folder of the user's own, reported."""

from __future__ import annotations

import os
import sys
import webbrowser
from collections.abc import Iterable, Iterator
from pathlib import Path

from wherewatt.config import load_config, shipped_folder
from wherewatt.errors import InputError, OutputError, Problem
from wherewatt.ingest.recording import find_tracks
from wherewatt.pipeline import analyse_for_page, open_tiles
from wherewatt.report.files import PAGE_NAME, write_result
from wherewatt.report.result import RideResult
from wherewatt.units import DistanceUnit
from wherewatt.whole_file import write_whole

REPORTS_NAME = "reports"
_TERRAIN_NAME = "terrain"

# What names a screen, or the user's own choice of a browser, where there may be neither.
_SCREENS = ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER")


def copy_samples(folder: Path) -> tuple[Path, ...]:
    """Copy the sample rides, with their side files and terrain, into a folder.

    Parameters
    ----------
    folder : where to; made if missing. What is there already, unchanged, stays.

    Returns
    -------
    tuple of Path
        The tracks among the copies.

    Raises
    ------
    InputError
        If a file there has a sample's name but not its content; nothing is copied then.
    OutputError
        If a file cannot be written.
    """
    source = shipped_folder("sample_tracks")
    copies = {path: folder / path.relative_to(source) for path in source.rglob("*")}
    copies = {path: copy for path, copy in copies.items() if path.is_file()}
    if changed := [copy for path, copy in copies.items() if not _may_be_written(path, copy)]:
        expected = "the sample ride's file, or none"
        mend = "move it away, or name another folder"
        raise InputError(
            *(Problem(str(copy), "", "another file", expected, mend) for copy in sorted(changed))
        )
    for path, copy in copies.items():
        _copy_whole(path, copy)
    return tuple(copies[track] for track in find_tracks([source]))


def report_samples(
    tracks: Iterable[Path], folder: Path, unit: DistanceUnit
) -> Iterator[RideResult]:
    """Report the sample rides of a folder with the terrain that lies there, offline.

    Parameters
    ----------
    tracks : the tracks.
    folder : the folder that they and their terrain were copied to.
    unit : unit of distance for people.

    Yields
    ------
    RideResult
        Each ride, when its report is written.

    Raises
    ------
    WherewattError
        If a ride cannot be used, or a report not written.
    """
    tiles = open_tiles([folder / _TERRAIN_NAME])
    for track in tracks:
        result = analyse_for_page(track, tiles, load_config())
        write_result(result, folder / REPORTS_NAME / result.name, unit)
        yield result


def page_of(result: RideResult, folder: Path) -> Path:
    """Path of a sample ride's page."""
    return folder / REPORTS_NAME / result.name / PAGE_NAME


def open_pages(pages: Iterable[Path]) -> bool:
    """Show pages in the web browser; returns whether there is one to show them."""
    has_screen = sys.platform in ("win32", "darwin") or any(map(os.environ.get, _SCREENS))
    # Without a screen, a browser of the terminal might take that over.
    return has_screen and all(webbrowser.open(page.resolve().as_uri()) for page in pages)


def _may_be_written(path: Path, copy: Path) -> bool:
    """Whether a file may be copied: nothing is there, or the same."""
    try:
        return not os.path.lexists(copy) or copy.read_bytes() == path.read_bytes()
    except OSError:
        return False


def _copy_whole(path: Path, copy: Path) -> None:
    """Copy a file unless it is there; it is never seen half-written."""
    if copy.exists():
        return
    try:
        copy.parent.mkdir(parents=True, exist_ok=True)
        write_whole(copy, path.read_bytes())
    except OSError as error:
        raise OutputError(f"{copy}: cannot be written: {error.strerror or error}") from error
