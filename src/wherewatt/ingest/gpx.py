"""Reading GPX 1.0 and 1.1 tracks.

Two readers give the same points: `wherewatt.ingest.gpx_scan` is fast and declines whatever it
cannot vouch for; `wherewatt.ingest.gpx_salvage` reads anything, a file cut short included.

Within a track point, in any namespace: ``ele`` and ``time`` among its children; speed [m/s], power,
cadence, temperature and the odometer (``distance``) at any depth, by the names in
`wherewatt.ingest.gpx_fields`. Of several the first holds; what is no number is missing.

Times are UTC nanoseconds:

- with a zone (``Z``, ``±hh:mm``) they are converted to UTC;
- without one they are taken as UTC, and a note says so;
- what is missing, unreadable, not in the calendar or more than 146 years from 1970 is NaN, and a
  note says how many;
- digits beyond the nanosecond are cut off.
"""

from __future__ import annotations

from pathlib import Path

from wherewatt.ingest.gpx_salvage import Salvage, salvage
from wherewatt.ingest.gpx_scan import scan
from wherewatt.ingest.points import PointColumns, make_track
from wherewatt.ingest.source import (
    Format,
    Source,
    read_as,
    refuse,
    refuse_beyond,
)
from wherewatt.ingest.track import Note, Track
from wherewatt.ingest.xml_stream import (
    Break,
    EntityDeclaredError,
    TooDeepError,
    decode,
    is_utf8,
    root_name,
)

EXPECTED = "a GPX file with a recorded track"


def read_gpx(path: Path | str) -> Track:
    """Read all points of all tracks and segments of a GPX file, in the order of the file.

    Parameters
    ----------
    path : a .gpx or .gpx.gz file.

    Raises
    ------
    TrackError
        If the file cannot be read, is no GPX, or holds no recorded track.
    """
    return parse_gpx(read_as(Path(path), Format.XML, EXPECTED))


def parse_gpx(source: Source) -> Track:
    """Read a GPX file that is in memory; see `read_gpx`.

    Raises
    ------
    TrackError
        If it is no GPX or holds no recorded track.
    """
    points, notes = _points(source)
    return make_track(source, points, notes)


def _points(source: Source) -> tuple[PointColumns, list[Note]]:
    """Read the points fast if that can be done, else slowly."""
    data, notes = source.data, list[Note]()
    if not is_utf8(data):
        text, notes = decode(data)
        data = text.encode("utf-8", errors="replace")
    points = scan(data, source.limits)
    if points is not None:
        return points, notes
    text, notes = decode(source.data)
    saved = _salvaged(source, text)
    if not len(saved.points):
        _refuse_pointless(source, saved)
    if saved.broken is not None:
        notes.append(_broken_note(len(saved.points), saved.broken))
    return saved.points, notes


def checked_text(source: Source) -> str:
    """Text of a GPX file that is whole, and safe for a library to read.

    Raises
    ------
    TrackError
        If it is no GPX, declares entities, lies too deep, or breaks off.
    """
    text, _ = decode(source.data)
    broken = _salvaged(source, text).broken
    if broken is not None:
        found = f"XML that is broken there ({broken.reason})"
        refuse(source.path, found, EXPECTED, place=f"line {broken.line}")
    return text


def _salvaged(source: Source, text: str) -> Salvage:
    """Read a document by streaming, if it is GPX and safe to read."""
    try:
        _refuse_foreign_root(source, text)
        return salvage(text, source.limits)
    except EntityDeclaredError:
        refuse(
            source.path,
            "a document type that declares entities",
            EXPECTED,
            mend="remove the <!DOCTYPE …> part",
        )
    except TooDeepError:
        limit = source.limits.max_xml_depth
        refuse_beyond(source.path, "max_xml_depth", limit, "elements within each other")


def _refuse_foreign_root(source: Source, text: str) -> None:
    """End the reading of XML that is not GPX."""
    root = root_name(text)
    if root.lower() == "html":
        refuse(source.path, "an HTML page", EXPECTED, mend="download the file itself")
    if root and root.lower() != "gpx":
        refuse(source.path, f"XML whose root is <{root}>", EXPECTED)


def _refuse_pointless(source: Source, saved: Salvage) -> None:
    """End the reading of a file that gave no track point, by saying why."""
    if saved.broken is not None:
        refuse(
            source.path,
            f"XML that is broken there ({saved.broken.reason}), before any track point",
            EXPECTED,
            place=f"line {saved.broken.line}",
        )
    if saved.route_points:
        refuse(
            source.path,
            f"a planned route of {saved.route_points} points, with no times and no recording",
            EXPECTED,
            mend="give the track that was recorded on the ride",
        )
    refuse(source.path, "no track points", EXPECTED)


def _broken_note(kept: int, broken: Break) -> Note:
    return Note(
        "file-cut-short",
        f"the file cannot be read beyond line {broken.line} ({broken.reason}): {kept} points saved",
    )
