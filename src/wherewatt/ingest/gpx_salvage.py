"""The streaming GPX reader: any well-formed file, and a broken one up to where it breaks.

It keeps every point that was closed before the file broke off, minds local names only (so
prefixed namespaces are no matter), and holds no more than the points' numbers in memory.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

import numpy as np

from wherewatt.ingest.clock import parse_moment
from wherewatt.ingest.gpx_fields import CHILDREN, column_of
from wherewatt.ingest.points import NO_TIME, PointColumns, to_float
from wherewatt.ingest.source import Limits
from wherewatt.ingest.track import QUANTITIES
from wherewatt.ingest.xml_stream import Break, stream


@dataclass(frozen=True, slots=True)
class Salvage:
    """What a document gave.

    Parameters
    ----------
    points : the track points, in the order of the file.
    route_points : how many points of planned routes there are.
    broken : where the document stops to be XML; None if all of it is.
    """

    points: PointColumns
    route_points: int
    broken: Break | None


def salvage(text: str, limits: Limits) -> Salvage:
    """Read all track points of a document, as far as it can be read.

    Parameters
    ----------
    text : the document.
    limits : how many points there may be (no more are kept when there are more), and how deep
        elements may lie.

    Raises
    ------
    EntityDeclaredError
        If the document type declares entities.
    TooDeepError
        If elements lie deeper than the limit.
    """
    handler = _Handler(limits.max_points)
    broken = stream(text, handler, limits.max_xml_depth)
    return Salvage(handler.points(), handler.route_points, broken)


@dataclass(slots=True)
class _Handler:
    """Collects points from the parser's events.

    Parameters
    ----------
    max_points : one more is kept than this, so that too many are found out.
    """

    max_points: int
    route_points: int = 0
    _point_depth: int = 0  # of the point that is being read; 0 outside of points
    _texts: dict[str, str] = field(default_factory=dict)  # of that point, by column
    _unix_ns: array[int] = field(default_factory=lambda: array("q"))
    _zoneless: bytearray = field(default_factory=bytearray)
    _values: dict[str, array[float]] = field(
        default_factory=lambda: {name: array("d") for name in QUANTITIES}
    )

    def start(self, path: list[str], attributes: dict[str, str]) -> None:
        if self._point_depth:
            return
        if path[-1] == "trkpt":
            self._point_depth = len(path)
            self._texts = {
                "latitude_deg": attributes.get("lat", ""),
                "longitude_deg": attributes.get("lon", ""),
            }
        elif path[-1] == "rtept":
            self.route_points += 1

    def end(self, path: list[str], text: str) -> None:
        if not self._point_depth:
            return
        depth = len(path) - self._point_depth
        if depth == 0:
            self._point_depth = 0
            self._keep_point()
        elif (column := column_of(path[-1], is_child=depth == 1)) is not None:
            self._texts.setdefault(column, text)  # the first of several holds, whatever it says

    def points(self) -> PointColumns:
        """The points so far, column by column; columns without a number are left out."""
        table = {name: np.array(column) for name, column in self._values.items()}
        return PointColumns(
            unix_ns=np.array(self._unix_ns, dtype=np.int64),
            values={name: column for name, column in table.items() if not np.isnan(column).all()},
            zoneless=np.frombuffer(self._zoneless, dtype=bool),
        )

    def _keep_point(self) -> None:
        if len(self._unix_ns) > self.max_points:
            return
        moment = parse_moment(self._texts.get(CHILDREN["time"], "").strip())
        self._unix_ns.append(NO_TIME if moment is None else moment.unix_ns)
        self._zoneless.append(moment is not None and not moment.zoned)
        for name, column in self._values.items():
            column.append(to_float(self._texts.get(name)))
