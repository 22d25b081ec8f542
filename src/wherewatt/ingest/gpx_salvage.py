"""A streaming GPX reader for files that gpxpy loses in whole or in part.

It keeps every point that was closed before the file broke off, minds local names only (so
prefixed namespaces are no matter), and never expands an entity.
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass, field
from datetime import datetime
from xml.parsers import expat

from gpxpy.gpx import GPXException
from gpxpy.gpxfield import parse_time

from wherewatt.ingest.points import RawPoint, to_float, to_unix_ns

SPEED_NAMES = frozenset({"speed"})
POWER_NAMES = frozenset({"power", "powerinwatts"})

_POINT_FIELDS = frozenset({"ele", "time", "speed"})


class EntityDeclaredError(Exception):
    """The document declares entities: it could grow without limit, or ask for other files."""


class _RootSeenError(Exception):
    """Not an error: the root element's name is known, the rest need not be parsed."""


@dataclass(frozen=True, slots=True)
class Salvage:
    """What a document gave.

    Parameters
    ----------
    points : the track points, in the order of the file.
    route_points : how many points of planned routes there are.
    broken_line : line at which the document stops to be XML; None if all of it is.
    reason : why, in the parser's words.
    """

    points: list[RawPoint]
    route_points: int
    broken_line: int | None
    reason: str


def root_name(text: str) -> str:
    """Local name of the root element; empty if the text breaks before it.

    Raises
    ------
    EntityDeclaredError
        If the document type declares entities.
    """
    names: list[str] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        names.append(_local(name))
        raise _RootSeenError

    parser = _parser()
    parser.StartElementHandler = start
    with contextlib.suppress(_RootSeenError, expat.ExpatError):
        parser.Parse(text, True)
    return names[0] if names else ""


def salvage(text: str) -> Salvage:
    """Read all track points of a document, as far as it can be read.

    Raises
    ------
    EntityDeclaredError
        If the document type declares entities.
    """
    handler = _Handler()
    parser = _parser()
    parser.buffer_text = True
    parser.StartElementHandler = handler.start
    parser.EndElementHandler = handler.end
    parser.CharacterDataHandler = handler.characters
    broken_line, reason = None, ""
    try:
        parser.Parse(text, True)
    except expat.ExpatError as error:
        broken_line, reason = error.lineno, expat.errors.messages[error.code]
    return Salvage(handler.points, handler.route_points, broken_line, reason)


def _parser() -> expat.XMLParserType:
    """Make a parser that refuses entity declarations before anything can use them."""

    def refuse_entity(*declaration: object) -> None:
        raise EntityDeclaredError

    parser = expat.ParserCreate()
    parser.EntityDeclHandler = refuse_entity
    return parser


def _local(name: str) -> str:
    """Name of an element without its namespace prefix."""
    return name.rpartition(":")[2]


@dataclass(slots=True)
class _Handler:
    """Collects points from the parser's events."""

    points: list[RawPoint] = field(default_factory=list)
    route_points: int = 0
    _path: list[str] = field(default_factory=list)  # open elements, from the point inwards
    _attributes: dict[str, str] = field(default_factory=dict)
    _fields: dict[str, str] = field(default_factory=dict)
    _text: list[str] = field(default_factory=list)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        local = _local(name)
        if self._path:
            self._path.append(local)
            self._text.clear()
        elif local == "trkpt":
            self._path.append(local)
            self._attributes = attributes
            self._fields = {}
        elif local == "rtept":
            self.route_points += 1

    def end(self, name: str) -> None:
        if not self._path:
            return
        local = self._path.pop()
        if not self._path:
            self.points.append(self._point())
            return
        text = "".join(self._text).strip()
        self._text.clear()
        if len(self._path) == 1 and local in _POINT_FIELDS:
            self._fields.setdefault(local, text)
        elif "extensions" in self._path and local.lower() in SPEED_NAMES:
            self._fields.setdefault("speed", text)
        elif "extensions" in self._path and local.lower() in POWER_NAMES:
            self._fields.setdefault("power", text)

    def characters(self, text: str) -> None:
        if self._path:
            self._text.append(text)

    def _point(self) -> RawPoint:
        moment = _moment(self._fields.get("time"))
        return RawPoint(
            unix_ns=to_unix_ns(moment),
            latitude_deg=to_float(self._attributes.get("lat")),
            longitude_deg=to_float(self._attributes.get("lon")),
            elevation_m=to_float(self._fields.get("ele")),
            speed_m_s=to_float(self._fields.get("speed")),
            odometer_m=math.nan,
            rider_w=to_float(self._fields.get("power")),
            zoned=moment is None or moment.tzinfo is not None,
        )


def _moment(text: str | None) -> datetime | None:
    """Time of a point; None if there is none or it cannot be read."""
    try:
        return parse_time(text) if text else None
    except (GPXException, ValueError):
        return None
