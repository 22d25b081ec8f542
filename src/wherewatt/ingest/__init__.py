"""Reading what a user gives: a file becomes a validated value, or one clear error.

Nothing is cleaned or derived here: what was odd in a file is kept and noted.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wherewatt.ingest.track import Track

TRACK_ENDINGS = (".gpx", ".fit", ".gpx.gz", ".fit.gz")

__all__ = ["TRACK_ENDINGS", "read_track"]


def read_track(path: Path | str) -> Track:
    """Read a track, GPX or FIT, gzipped or not; its content decides, not its name.

    Raises
    ------
    TrackError
        If the file cannot be read, is neither format, or holds no recorded points.
    """
    # imported here: each format's library costs start-up time that the other does not need
    from wherewatt.ingest.source import Format, format_of, read_source, refuse_unknown_format

    source = read_source(Path(path))
    match format_of(source.data):
        case Format.FIT:
            from wherewatt.ingest.fit import parse_fit

            return parse_fit(source)
        case Format.XML:
            from wherewatt.ingest.gpx import parse_gpx

            return parse_gpx(source)
        case None:
            refuse_unknown_format(source, "a GPX or FIT file")
