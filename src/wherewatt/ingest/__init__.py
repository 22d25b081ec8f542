"""Reading what a user gives: a file becomes a validated value, or one clear error.

Nothing is cleaned or derived here: what was odd in a file is kept and noted.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wherewatt.ingest.source import Limits, Source
    from wherewatt.ingest.track import Track

LOG_ENDINGS = (".csv", ".csv.gz")
TRACK_ENDINGS = (".gpx", ".fit", ".tcx", ".gpx.gz", ".fit.gz", ".tcx.gz", *LOG_ENDINGS)

__all__ = ["LOG_ENDINGS", "TRACK_ENDINGS", "read_track"]


def read_track(path: Path | str, *, limits: Limits | None = None) -> Track:
    """Read a track: GPX, TCX, FIT or a CSV log, gzipped or not; its content decides, not its name.

    Parameters
    ----------
    path : the file.
    limits : what is refused as absurd; the shipped defaults if None.

    Raises
    ------
    TrackError
        If the file cannot be read, is of no such format, or holds no recorded points.
    """
    # imported here: each format's library costs start-up time that the other does not need
    from wherewatt.ingest.source import (
        DEFAULT_LIMITS,
        Format,
        format_of,
        read_source,
        refuse_unknown_format,
    )

    source = read_source(Path(path), limits or DEFAULT_LIMITS)
    match format_of(source.data):
        case Format.FIT:
            from wherewatt.ingest.fit import parse_fit

            return parse_fit(source)
        case Format.XML:
            return _parse_xml(source)
        case None:
            from wherewatt.ingest.log import is_log, parse_log

            if is_log(source.data) or source.path.name.lower().endswith(LOG_ENDINGS):
                return parse_log(source)
            refuse_unknown_format(source, "a GPX, TCX or FIT file or a CSV log")


def _parse_xml(source: Source) -> Track:
    """Read a GPX or TCX file; what is neither, the GPX reader refuses."""
    from wherewatt.ingest.xml_stream import TCX_ROOT, root_of

    if root_of(source.data) == TCX_ROOT:
        from wherewatt.ingest.tcx import parse_tcx

        return parse_tcx(source)
    from wherewatt.ingest.gpx import parse_gpx

    return parse_gpx(source)
