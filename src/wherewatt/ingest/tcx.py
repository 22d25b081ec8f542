"""Reading TCX: laps of track points in XML, as many bike computers export them."""

from __future__ import annotations

import math
from array import array
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

import numpy as np

from wherewatt.ingest.clock import parse_moment
from wherewatt.ingest.points import NO_TIME, PointColumns, make_track, to_float
from wherewatt.ingest.source import (
    Format,
    Source,
    read_as,
    refuse,
    refuse_beyond,
)
from wherewatt.ingest.track import Mark, MarkKind, Note, Track
from wherewatt.ingest.xml_stream import (
    TCX_ROOT,
    Break,
    EntityDeclaredError,
    TooDeepError,
    decode,
    root_name,
    stream,
)

EXPECTED = "a TCX file with a recorded track"

# Where in a track point a quantity stands, as the schema has it …
_PLACES = {
    ("Position", "LatitudeDegrees"): "latitude_deg",
    ("Position", "LongitudeDegrees"): "longitude_deg",
    ("AltitudeMeters",): "elevation_m",
    ("DistanceMeters",): "odometer_m",
    ("Cadence",): "cadence_rpm",
    ("Time",): "time",
}
# … and by what name, at whatever depth, within its extensions.
_EXTENSIONS = {"speed": "speed_m_s", "watts": "rider_w"}
_QUANTITIES = (*(name for name in _PLACES.values() if name != "time"), *_EXTENSIONS.values())


def read_tcx(path: Path | str) -> Track:
    """Read all track points of a TCX file, in the order of the file, with its laps as marks.

    Names count without their namespace prefix. Points without a position stay, with NaN. Of a
    file that is cut short, every point that was closed is kept.

    Parameters
    ----------
    path : a .tcx or .tcx.gz file.

    Raises
    ------
    TrackError
        If the file cannot be read, is no TCX, or holds no recorded track.
    """
    return parse_tcx(read_as(Path(path), Format.XML, EXPECTED))


def parse_tcx(source: Source) -> Track:
    """Read a TCX file that is in memory; see `read_tcx`.

    Raises
    ------
    TrackError
        If it is no TCX or holds no recorded track.
    """
    text, notes = decode(source.data)
    handler = _Handler(source)
    try:
        if (root := root_name(text)) and root != TCX_ROOT:
            refuse(source.path, f"XML whose root is <{root[:40]}>", EXPECTED)
        broken = stream(text, handler, source.limits.max_xml_depth)
    except EntityDeclaredError:
        found, mend = "a document type that declares entities", "remove the <!DOCTYPE …> part"
        refuse(source.path, found, EXPECTED, mend=mend)
    except TooDeepError:
        depth = source.limits.max_xml_depth
        refuse_beyond(source.path, "max_xml_depth", depth, "elements within each other")
    count = len(handler.unix_ns)
    if count == 0:
        _refuse_pointless(source, broken)
    if broken is not None:
        message = f"the file cannot be read beyond line {broken.line} ({broken.reason})"
        notes.append(Note("file-cut-short", f"{message}: {count} points saved"))
    if handler.all_planned:
        message = "the file calls itself a course: its times may be planned, not ridden"
        notes.append(Note("planned-course", message))
    return make_track(source, handler.columns(), notes, handler.marks)


def _refuse_pointless(source: Source, broken: Break | None) -> NoReturn:
    """End the reading of a file that gave no track point, by saying why."""
    if broken is None:
        refuse(source.path, "no track points", EXPECTED)
    found = f"XML that is broken there ({broken.reason}), before any track point"
    refuse(source.path, found, EXPECTED, place=f"line {broken.line}")


@dataclass(slots=True)
class _Lap:
    """What is known of a lap while it is read."""

    started_unix_ns: int | None
    last_unix_ns: int | None = None
    seconds: float = math.nan

    def mark(self) -> Mark:
        """The lap ends with its last point; one without points, when its stated time is over."""
        end = self.last_unix_ns
        if end is None and self.started_unix_ns is not None and 0.0 <= self.seconds < 1e9:
            end = self.started_unix_ns + round(self.seconds * 1e9)
        return Mark(MarkKind.LAP, end, self.started_unix_ns)


@dataclass(slots=True)
class _Handler:
    """Collects points and laps from the parser's events."""

    source: Source
    unix_ns: array[int] = field(default_factory=lambda: array("q"))
    marks: list[Mark] = field(default_factory=list)
    all_planned: bool = True
    _values: dict[str, array[float]] = field(
        default_factory=lambda: {name: array("d") for name in _QUANTITIES}
    )
    _zoneless: bytearray = field(default_factory=bytearray)
    _lap: _Lap | None = None
    _point_depth: int = 0  # of the point that is being read; 0 outside of points
    _point: dict[str, str] = field(default_factory=dict)

    def start(self, path: list[str], attributes: dict[str, str]) -> None:
        if self._point_depth:
            return
        if path[-1] == "Trackpoint":
            self._point_depth = len(path)
            self._point = {}
        elif path[-1] == "Lap":
            self._lap = _Lap(_unix_ns(attributes.get("StartTime")))

    def end(self, path: list[str], text: str) -> None:
        if len(path) > self._point_depth > 0:
            self._take_value(path[self._point_depth :], text)
        elif path[-1] == "Trackpoint":
            self._close_point(planned="Course" in path)
        elif path[-1] == "Lap" and self._lap is not None:
            self._refuse_beyond_limit(len(self.marks), "laps")
            self.marks.append(self._lap.mark())
            self._lap = None
        elif path[-1] == "TotalTimeSeconds" and self._lap is not None:
            self._lap.seconds = to_float(text)

    def columns(self) -> PointColumns:
        """The points that were closed; what none of them had is left out."""
        values = {name: np.array(column) for name, column in self._values.items()}
        return PointColumns(
            unix_ns=np.array(self.unix_ns, dtype=np.int64),
            values={name: column for name, column in values.items() if not np.isnan(column).all()},
            zoneless=np.frombuffer(self._zoneless, dtype=bool),
        )

    def _take_value(self, place: list[str], text: str) -> None:
        """Take the text of an element within the point; of several alike the first counts."""
        name = _PLACES.get(tuple(place))
        if name is None and place[0] == "Extensions":
            name = _EXTENSIONS.get(place[-1].lower())
        if name is not None:
            self._point.setdefault(name, text)

    def _close_point(self, *, planned: bool) -> None:
        self._point_depth = 0
        self._refuse_beyond_limit(len(self.unix_ns), "points")
        for name, column in self._values.items():
            column.append(to_float(self._point.get(name)))
        moment = parse_moment(self._point.get("time", "").strip())
        self.unix_ns.append(NO_TIME if moment is None else moment.unix_ns)
        self._zoneless.append(moment is not None and not moment.zoned)
        if not planned:
            self.all_planned = False
        if self._lap is not None and moment is not None:
            self._lap.last_unix_ns = moment.unix_ns

    def _refuse_beyond_limit(self, count: int, what: str) -> None:
        if count == self.source.limits.max_points:
            refuse_beyond(self.source.path, "max_points", count, what)


def _unix_ns(text: str | None) -> int | None:
    moment = parse_moment(text.strip()) if text else None
    return None if moment is None else moment.unix_ns
