"""Reading GPX 1.0 and 1.1 tracks."""

from __future__ import annotations

import codecs
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import gpxpy
from gpxpy.gpx import GPX, GPXTrackPoint

from wherewatt.ingest.gpx_salvage import (
    POWER_NAMES,
    SPEED_NAMES,
    EntityDeclaredError,
    Salvage,
    root_name,
    salvage,
)
from wherewatt.ingest.points import RawPoint, columns_of, make_track, to_float, to_unix_ns
from wherewatt.ingest.source import (
    Format,
    Source,
    format_of,
    read_source,
    refuse,
    refuse_unknown_format,
)
from wherewatt.ingest.track import Note, Track

EXPECTED = "a GPX file with a recorded track"

_DECLARATION = re.compile(r"^\s*<\?xml\b[^>]*\?>")
_ENCODING = re.compile(r"""encoding\s*=\s*["']([\w.:-]+)["']""")
_TRACK_POINT = re.compile(r"<(?:[\w.-]+:)?trkpt[\s/>]")
_EXTENSIONS = re.compile(r"<(?:[\w.-]+:)?extensions[\s>]")
# (start of the file, encoding); UTF-32 before UTF-16, whose mark it begins with
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
    (b"<\x00", "utf-16-le"),
    (b"\x00<", "utf-16-be"),
)


def read_gpx(path: Path | str) -> Track:
    """Read all points of all tracks and segments of a GPX file, in the order of the file.

    Speed is the <speed> of GPX 1.0 or an extension of that local name, rider power an
    extension "power" or "PowerInWatts", in any namespace. gpxpy reads the file; what it would
    lose (prefixed or repeated namespaces, a file cut short) our own parser salvages.

    Parameters
    ----------
    path : a .gpx or .gpx.gz file.

    Raises
    ------
    TrackError
        If the file cannot be read, is no GPX, or holds no recorded track.
    """
    source = read_source(Path(path))
    if format_of(source.data) is not Format.XML:
        refuse_unknown_format(source, EXPECTED)
    return parse_gpx(source)


def parse_gpx(source: Source) -> Track:
    """Read a GPX file that is in memory; see `read_gpx`.

    Raises
    ------
    TrackError
        If it is no GPX or holds no recorded track.
    """
    text, notes = _decode(source.data)
    _refuse_foreign_root(source, text)
    points = _points_by_gpxpy(text)
    if points is None:
        saved = salvage(text)
        if not saved.points:
            _refuse_pointless(source, saved)
        if saved.broken_line is not None:
            notes.append(_broken_note(saved))
        points = saved.points
    return make_track(source, columns_of(points), notes)


def _decode(data: bytes) -> tuple[str, list[Note]]:
    """Decode an XML file and blank its declaration, which does not hold for decoded text."""
    encoding, sure = _encoding(data)
    notes = []
    try:
        text = data.decode(encoding)
    except (UnicodeError, LookupError) as error:
        # only names suffer: the numbers of a track are plain ASCII
        text = data.decode(encoding if sure else "utf-8", errors="replace")
        notes.append(Note("text-encoding", f"not all of the file is {encoding} text ({error})"))
    text = text.removeprefix("\ufeff")
    # lines are kept, so that messages count them as the file has them
    return _DECLARATION.sub(lambda match: "\n" * match[0].count("\n"), text, count=1), notes


def _encoding(data: bytes) -> tuple[str, bool]:
    """Find the encoding, and whether the first bytes prove it: a declaration may be wrong."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return encoding, True
    head = data[:200].decode("latin-1")
    declaration = _DECLARATION.match(head)
    declared = _ENCODING.search(declaration[0]) if declaration else None
    # the first bytes have shown that characters are not two or four bytes wide
    if declared is None or declared[1].lower().startswith(("utf-16", "utf-32", "ucs")):
        return "utf-8", False
    return declared[1], False


def _refuse_foreign_root(source: Source, text: str) -> None:
    """End the reading of XML that is not GPX, or that is not safe to read."""
    try:
        root = root_name(text)
    except EntityDeclaredError:
        refuse(
            source.path,
            "a document type that declares entities",
            EXPECTED,
            mend="remove the <!DOCTYPE …> part",
        )
    if root.lower() == "html":
        refuse(source.path, "an HTML page", EXPECTED, mend="download the file itself")
    if root and root.lower() != "gpx":
        refuse(source.path, f"XML whose root is <{root}>", EXPECTED)


def _points_by_gpxpy(text: str) -> list[RawPoint] | None:
    """Let gpxpy read the points; None if it fails or would lose some without a word."""
    try:
        gpx = gpxpy.parse(text)
    except Exception:  # whatever gpxpy stumbles over, our own parser says what is wrong
        return None
    points = [_raw_point(point) for point in _track_points(gpx)]
    if not points or len(points) != len(_TRACK_POINT.findall(text)):
        return None  # a prefix, a namespace given again, or a track point within a comment
    if gpx.version != "1.1" and _EXTENSIONS.search(text):
        return None  # gpxpy reads extensions of GPX 1.1 only
    return points


def _track_points(gpx: GPX) -> Iterator[GPXTrackPoint]:
    for track in gpx.tracks:
        for segment in track.segments:
            yield from segment.points


def _raw_point(point: GPXTrackPoint) -> RawPoint:
    moment = point.time
    speed_m_s = point.speed  # of GPX 1.0
    if speed_m_s is None:
        speed_m_s = _extension(point.extensions, SPEED_NAMES)
    return RawPoint(
        unix_ns=to_unix_ns(moment),
        latitude_deg=_or_nan(point.latitude),
        longitude_deg=_or_nan(point.longitude),
        elevation_m=_or_nan(point.elevation),
        speed_m_s=speed_m_s,
        rider_w=_extension(point.extensions, POWER_NAMES),
        zoned=moment is None or moment.tzinfo is not None,
    )


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _extension(extensions: list[Any], names: frozenset[str]) -> float:
    """Take the first element of a name, at any depth and in any namespace; NaN if none."""
    for extension in extensions:
        for element in extension.iter():
            # the tag of a comment is a function with some XML libraries
            if isinstance(element.tag, str) and _local_name(element.tag) in names:
                return to_float(element.text)
    return math.nan


def _local_name(tag: str) -> str:
    """Lower-case name of an element without its namespace ("{uri}Name" or "prefix:Name")."""
    return re.split("[}:]", tag)[-1].lower()


def _refuse_pointless(source: Source, saved: Salvage) -> None:
    """End the reading of a file that gave no track point, by saying why."""
    if saved.broken_line is not None:
        refuse(
            source.path,
            f"XML that is broken there ({saved.reason}), before any track point",
            EXPECTED,
            place=f"line {saved.broken_line}",
        )
    if saved.route_points:
        refuse(
            source.path,
            f"a planned route of {saved.route_points} points, with no times and no recording",
            EXPECTED,
            mend="give the track that was recorded on the ride",
        )
    refuse(source.path, "no track points", EXPECTED)


def _broken_note(saved: Salvage) -> Note:
    return Note(
        "file-cut-short",
        f"the file cannot be read beyond line {saved.broken_line} ({saved.reason}): "
        f"{len(saved.points)} points saved",
    )
