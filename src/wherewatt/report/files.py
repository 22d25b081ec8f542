"""The files of a ride: each is whole or is not there."""

from __future__ import annotations

import json
import os
import secrets
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from wherewatt.errors import OutputError
from wherewatt.report import geo
from wherewatt.report.beside import Content, Write, write_here
from wherewatt.report.profile_data import profile_data
from wherewatt.report.result import RideResult
from wherewatt.report.tables import legs_table, sections_table, summary
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

_ENCODE = json.JSONEncoder(allow_nan=False, ensure_ascii=False).encode


def write_result(
    result: RideResult, folder: Path, unit: DistanceUnit, slow: Write = write_here
) -> None:
    """Write the tables, the summary, the maps, the page and the profile of a ride into a folder.

    The files are made in a folder beside it and moved into place one by one when all of them are
    complete, so that no file is ever seen half-written. Other files in the folder stay.

    Parameters
    ----------
    result : the ride.
    folder : where the files go; made if missing.
    unit : unit of distance for people; the tables are always in km.
    slow : how those files are written whose libraries are slow to load.

    Raises
    ------
    OutputError
        If they cannot be written; nothing is left behind then.
    """
    _put(result, folder, unit, _WRITERS, _contents(result, unit), slow)


def write_tables(result: RideResult, folder: Path) -> None:
    """Write the tables of sections and legs and the summary alone, for programs, likewise.

    Raises
    ------
    OutputError
        If they cannot be written; nothing is left behind then.
    """
    _put(
        result, folder, DistanceUnit.KM, {SUMMARY_NAME: _write_summary}, _tables(result), write_here
    )


def _put(
    result: RideResult,
    folder: Path,
    unit: DistanceUnit,
    writers: Mapping[str, Writer],
    contents: Mapping[str, Content],
    slow: Write,
) -> None:
    workshop = folder.parent / f".{folder.name}.{secrets.token_hex(4)}"
    try:
        try:
            _make(workshop)
            with slow({workshop / name: content for name, content in contents.items()}):
                for name, write in writers.items():
                    write(result, workshop / name, unit)
            _move(workshop, folder)
        except BaseException:
            shutil.rmtree(workshop, ignore_errors=True)
            raise
    except OSError as error:
        reason = error.strerror or " ".join(str(error).split())
        raise OutputError(f"{folder}: the result cannot be written: {reason}") from error


def _make(folder: Path) -> None:
    """Make a folder, and those it lies in if they are missing."""
    try:
        folder.mkdir()
    except FileNotFoundError:
        folder.parent.mkdir(parents=True, exist_ok=True)
        folder.mkdir()


def _move(workshop: Path, folder: Path) -> None:
    """Move what is in one folder into another, all at once if that is not there yet."""
    try:
        os.replace(workshop, folder)
    except OSError:
        folder.mkdir(exist_ok=True)
        for entry in list(workshop.iterdir()):
            os.replace(entry, folder / entry.name)
        workshop.rmdir()


def write_page(result: RideResult, path: Path, unit: DistanceUnit) -> None:
    """Write the page alone.

    Raises
    ------
    OSError
        If it cannot be written; a part of it may be left behind.
    """
    from wherewatt.report.page import render_page  # slow to load, and not needed before

    path.write_bytes(render_page(result, unit).encode("utf-8"))


def _tables(result: RideResult) -> dict[str, Content]:
    return {
        SECTIONS_NAME: sections_table(result).for_csv(),
        LEGS_NAME: legs_table(result).for_parquet(),
    }


def _contents(result: RideResult, unit: DistanceUnit) -> dict[str, Content]:
    """What stands in the files whose libraries are slow to load, by file name."""
    return {
        PROFILE_NAME: profile_data(result, unit),
        **_tables(result),
        SECTIONS_PARQUET_NAME: geo.sections_geoparquet(result),
    }


def _write_summary(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    path.write_text(_in_lines(summary(result)) + "\n", encoding="utf-8", newline="\n")


def _in_lines(value: Any, margin: str = "\n") -> str:
    """JSON with a line for each entry of what holds others, and for each item of a list.

    The library's own indenting takes six times as long: it alone is not written in C.
    """
    inner = f"{margin} "
    if isinstance(value, list) and value:
        return f"[{inner}{f',{inner}'.join(map(_ENCODE, value))}{margin}]"
    if isinstance(value, dict) and any(isinstance(of, dict | list) for of in value.values()):
        entries = (f"{_ENCODE(name)}: {_in_lines(of, inner)}" for name, of in value.items())
        return f"{{{inner}{f',{inner}'.join(entries)}{margin}}}"
    return _ENCODE(value)


def _write_sections_map(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    path.write_text(geo.sections_geojson(result), encoding="utf-8", newline="\n")


def _write_track_map(result: RideResult, path: Path, _unit: DistanceUnit) -> None:
    path.write_text(geo.track_geojson(result), encoding="utf-8", newline="\n")


_WRITERS: dict[str, Writer] = {
    SUMMARY_NAME: _write_summary,
    PAGE_NAME: write_page,
    SECTIONS_MAP_NAME: _write_sections_map,
    TRACK_MAP_NAME: _write_track_map,
}
"""What writes the other files, by file name."""
