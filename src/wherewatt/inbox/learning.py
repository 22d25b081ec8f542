"""What a library keeps of the rides of a watched folder: of each one its latest words alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from wherewatt.errors import OutputError
from wherewatt.library import SCHEMA, Library
from wherewatt.report.result import RideResult
from wherewatt.report.times import start_second

_SCHEMA = SCHEMA.rpartition("/")[0]  # of any version


def remember(library: Library, result: RideResult) -> None:
    """Keep what a ride said of its vehicle, in place of all that it said before.

    It may have said it as a file that was still growing, under another name, or of another vehicle.
    Doing it twice does no harm.

    Raises
    ------
    OutputError
        If the library cannot be written to.
    """
    kept = library.keep(result.learned) if result.learned else None
    try:
        for path in sorted(library.folder.glob("*/*.json")):
            if path != kept and _is_of(path, result):
                path.unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"{library.folder}: cannot be written to: {error.strerror}") from error


def _is_of(path: Path, result: RideResult) -> bool:
    """Whether a record is of this ride: of the same file, or of one of its name and start."""
    try:
        record: Any = json.loads(path.read_bytes())
        if not str(record["schema"]).startswith(_SCHEMA):
            return False
        of_file, of_start = record["sha256"], (record["ride"], record["start_time"])
    except (OSError, ValueError, KeyError, TypeError):  # none of ours, or just replaced
        return False
    this_start = (result.name, start_second(result.ride))
    return bool(of_file == result.recording.track.sha256 or of_start == this_start)
