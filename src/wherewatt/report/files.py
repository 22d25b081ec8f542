"""The files of a ride: each is whole or is not there."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from wherewatt.errors import OutputError
from wherewatt.report import geo
from wherewatt.report.result import RideResult
from wherewatt.report.tables import legs_frame, sections_frame, summary
from wherewatt.report.times import with_iso_times
from wherewatt.units import DistanceUnit

SECTIONS_NAME = "sections.csv"
LEGS_NAME = "legs.parquet"
SUMMARY_NAME = "summary.json"
PAGE_NAME = "report.html"
PROFILE_NAME = "profile.png"
SECTIONS_MAP_NAME = "sections.geojson"
TRACK_MAP_NAME = "track.geojson"
SECTIONS_PARQUET_NAME = "sections.parquet"

Writer = Callable[[RideResult, Path, DistanceUnit], None]


def write_result(result: RideResult, folder: Path, unit: DistanceUnit) -> None:
    """Write the tables, the summary, the maps, the page and the profile of a ride into a folder.

    The files are made in a folder beside it and moved into place one by one when all of them are
    complete, so that no file is ever seen half-written. Other files in the folder stay.

    Parameters
    ----------
    result : the ride.
    folder : where the files go; made if missing.
    unit : unit of distance for people; the tables are always in km.

    Raises
    ------
    OutputError
        If they cannot be written; nothing is left behind then.
    """
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        workshop = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
        try:
            writers = _writers()
            for name, write in writers.items():
                write(result, workshop / name, unit)
            folder.mkdir(exist_ok=True)
            for name in writers:
                os.replace(workshop / name, folder / name)
        finally:
            shutil.rmtree(workshop, ignore_errors=True)
    except OSError as error:
        reason = error.strerror or " ".join(str(error).split())
        raise OutputError(f"{folder}: the result cannot be written: {reason}") from error


def _write_sections(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    frame = with_iso_times(sections_frame(result))
    # pandas writes floats by their repr: reading them back gives the same numbers.
    frame.to_csv(path, index=False, encoding="utf-8", lineterminator="\n")


def _write_legs(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    legs_frame(result).to_parquet(path, engine="pyarrow", index=False)


def _write_summary(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    text = json.dumps(summary(result), allow_nan=False, indent=1, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


# The page and its charts need libraries that are slow to import: not before they are used.


def _write_page(result: RideResult, path: Path, unit: DistanceUnit) -> None:
    from wherewatt.report.page import render_page

    path.write_text(render_page(result, unit), encoding="utf-8", newline="\n")


def _write_profile(result: RideResult, path: Path, unit: DistanceUnit) -> None:
    from wherewatt.report.figures import write_profile_png

    write_profile_png(result, path, unit)


def _write_sections_map(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    path.write_text(geo.sections_geojson(result), encoding="utf-8", newline="\n")


def _write_track_map(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    path.write_text(geo.track_geojson(result), encoding="utf-8", newline="\n")


def _write_geoparquet(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    geo.write_sections_geoparquet(result, path)


def _writers() -> dict[str, Writer]:
    """What is written, by file name."""
    writers: dict[str, Writer] = {
        SECTIONS_NAME: _write_sections,
        LEGS_NAME: _write_legs,
        SUMMARY_NAME: _write_summary,
        PAGE_NAME: _write_page,
        PROFILE_NAME: _write_profile,
        SECTIONS_MAP_NAME: _write_sections_map,
        TRACK_MAP_NAME: _write_track_map,
    }
    if geo.can_write_geoparquet():
        writers[SECTIONS_PARQUET_NAME] = _write_geoparquet
    return writers
