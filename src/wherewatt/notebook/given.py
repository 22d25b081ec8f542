"""What a caller puts beside a track: files from elsewhere, or values of a notebook.

They take the place of the files that lie beside the track. Values are written as the files that
they stand for and read like any other, so that one set of rules holds for both.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict

from wherewatt.errors import InputError, Problem, SideFileError, display_name
from wherewatt.ingest.recording import (
    PACK_LOG_ENDING,
    PLACES_NAME,
    READINGS_ENDING,
    SHEET_ENDING,
    SIDE_ENDINGS,
    TAGS_ENDING,
)
from wherewatt.ingest.track import track_stem

if TYPE_CHECKING:
    import pandas as pd

AnyPath = str | os.PathLike[str]


class Given(TypedDict, total=False):
    """Keywords for what is given instead of the files beside a track.

    Parameters
    ----------
    callouts, tags, pack_log : path of a CSV file, or a table with its columns: a frame, or what a
        frame can be made of. One without rows stands for none.
    sheet : path of a ride sheet, or its tables and keys.
    places : path of a GeoJSON file.
    """

    callouts: AnyPath | pd.DataFrame | list[dict[str, Any]]
    tags: AnyPath | pd.DataFrame | list[dict[str, Any]]
    pack_log: AnyPath | pd.DataFrame
    sheet: AnyPath | Mapping[str, Mapping[str, Any]]
    places: AnyPath


_ENDINGS = {
    "callouts": READINGS_ENDING,
    "tags": TAGS_ENDING,
    "pack_log": PACK_LOG_ENDING,
    "sheet": SHEET_ENDING,
}


def check_keywords(given: Given) -> None:
    """Refuse a keyword that is none, as Python does where it is written out.

    Raises
    ------
    TypeError
        If there is one.
    """
    known = (*_ENDINGS, "places")
    for name in given:
        if name not in known:
            raise TypeError(f"unexpected keyword '{name}', expected one of {', '.join(known)}")


@contextmanager
def put_beside(track: Path, given: Given) -> Iterator[Path]:
    """A track with what is given beside it, to read within the block.

    It is the track where it lies if nothing is given, else a copy in a folder of its own. What is
    wrong with something given is told under the caller's name for it.

    Raises
    ------
    SideFileError
        If something given cannot be had at all.
    """
    if not given or not track.is_file():  # its reader says what is wrong with it
        yield track
        return
    with tempfile.TemporaryDirectory(prefix="wherewatt-") as folder:
        copy = Path(folder, track.name)
        names = {_place(copy, keyword): keyword for keyword in given}
        _copy(track, copy)
        for side in _beside(track):
            if side.name not in names and side.is_file():
                _copy(side, copy.with_name(side.name))
        for name, keyword in names.items():
            _put(given.get(keyword), keyword, copy.with_name(name))
        said = {name: _said(given.get(keyword), keyword) for name, keyword in names.items()}
        try:
            yield copy
        except InputError as error:
            raise _renamed(error, said) from error


def _beside(track: Path) -> list[Path]:
    stem = track_stem(track)
    return [track.with_name(name) for name in (*(stem + end for end in SIDE_ENDINGS), PLACES_NAME)]


def _place(track: Path, keyword: str) -> str:
    """Name of the file that a keyword stands for."""
    return track_stem(track) + _ENDINGS[keyword] if keyword in _ENDINGS else PLACES_NAME


def _put(value: Any, keyword: str, path: Path) -> None:
    if isinstance(value, str | os.PathLike):
        _copy(Path(value), path)
    elif keyword in ("sheet", "places"):
        _put_sheet(value, keyword, path)
    else:
        _put_table(value, keyword, path)


def _copy(source: Path, target: Path) -> None:
    try:
        shutil.copyfile(source, target)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise SideFileError(Problem(str(source), "", reason, "a readable file")) from error


def _put_table(value: Any, keyword: str, path: Path) -> None:
    """Write a table; none if it has no rows."""
    import pandas as pd  # slow to load

    try:
        frame = pd.DataFrame(value)
    except (TypeError, ValueError) as error:
        found = f"{type(value).__name__} ({error})"
        raise SideFileError(Problem(keyword, "", found, "a path or a table")) from error
    if len(frame):
        frame.to_csv(path, index=False, encoding="utf-8", lineterminator="\n")


def _put_sheet(value: Any, keyword: str, path: Path) -> None:
    """Write tables and keys as TOML (version 1.0.0); a ride sheet has no deeper ones."""
    if keyword != "sheet" or not isinstance(value, Mapping):
        expected = "a path, or tables of keys" if keyword == "sheet" else "a path"
        raise SideFileError(Problem(keyword, "", type(value).__name__, expected))
    lines: list[str] = []
    for table, keys in value.items():
        if not isinstance(keys, Mapping):
            found = type(keys).__name__
            raise SideFileError(Problem(keyword, str(table), found, "a table of keys"))
        lines.append(f"[{json.dumps(str(table), ensure_ascii=False)}]")
        lines += [
            f"{json.dumps(str(key), ensure_ascii=False)} = {_toml(content, f'[{table}] {key}')}"
            for key, content in keys.items()
        ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _toml(value: Any, place: str) -> str:
    """A value of a ride sheet: a truth, a number or a text."""
    plain = value.item() if hasattr(value, "item") else value  # numpy's numbers
    if isinstance(plain, str):
        return json.dumps(plain, ensure_ascii=False)
    if isinstance(plain, bool):
        return str(plain).lower()
    if isinstance(plain, int | float):
        return repr(plain)
    raise SideFileError(Problem("sheet", place, type(value).__name__, "a number, text or a truth"))


def _said(value: Any, keyword: str) -> str:
    """What a message calls a file: as the caller does."""
    return display_name(Path(value)) if isinstance(value, str | os.PathLike) else keyword


def _renamed(error: InputError, said: Mapping[str, str]) -> InputError:
    return type(error)(
        *(replace(it, source=said.get(it.source, it.source)) for it in error.problems)
    )
