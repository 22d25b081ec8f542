"""Reading the plain CSV log of a pack or ride logger; docs/formats.md says what it may hold.

Column names carry their unit. A log with positions or distances is a track (``ride.csv``); one of
voltage and current alone may lie beside a track (``ride.log.csv``).
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import NamedTuple, NoReturn

import numpy as np

from wherewatt.errors import Problem, TrackError, display_name, nearest_name
from wherewatt.ingest.log_table import (
    ELAPSED,
    TIME,
    Header,
    Table,
    find_header,
    open_text,
    read_rows,
)
from wherewatt.ingest.points import NO_TIME, Nanoseconds, PointColumns, make_track
from wherewatt.ingest.readings import REQUIRED as READINGS_COLUMNS
from wherewatt.ingest.sidefile import quoted
from wherewatt.ingest.source import (
    DEFAULT_LIMITS,
    GZIP_MAGIC,
    Limits,
    Source,
    read_source,
    refuse,
    refuse_unknown_format,
)
from wherewatt.ingest.tags import REQUIRED as TAGS_COLUMNS
from wherewatt.ingest.track import Note, Track
from wherewatt.text import counted
from wherewatt.units import METRES_PER_MILE, SUFFIXES

EXPECTED = "a CSV log with a time and positions or distances"
EXPECTED_PACK_LOG = "a CSV log with a time, battery_v and battery_a"

_HEAD_BYTES = 1 << 16
_MOST_NAMED = 5  # columns that a note names


class Quantity(NamedTuple):
    """What a column of a log holds: the track's name of it, and the factor to its unit."""

    name: str
    factor: float = 1.0


# Every column that a log may have beside its time.
LOG_COLUMNS: Mapping[str, Quantity] = {
    "latitude_deg": Quantity("latitude_deg"),
    "longitude_deg": Quantity("longitude_deg"),
    "distance_m": Quantity("odometer_m"),
    "distance_km": Quantity("odometer_m", 1000.0),
    "distance_mi": Quantity("odometer_m", METRES_PER_MILE),
    "elevation_m": Quantity("elevation_m"),
    "speed_m_s": Quantity("speed_m_s"),
    "speed_kmh": Quantity("speed_m_s", SUFFIXES["kmh"].factor),
    "speed_mph": Quantity("speed_m_s", SUFFIXES["mph"].factor),
    "power_w": Quantity("rider_w"),
    "cadence_rpm": Quantity("cadence_rpm"),
    "temperature_c": Quantity("temperature_c"),
    "battery_v": Quantity("battery_v"),
    "battery_a": Quantity("battery_a"),
}
_KNOWN = (TIME, ELAPSED, *LOG_COLUMNS)
_DISTANCES = frozenset(name for name, of in LOG_COLUMNS.items() if of.name == "odometer_m")
_POSITION = frozenset({"latitude_deg", "longitude_deg"})
_BATTERY = frozenset({"battery_v", "battery_a"})


def is_log(data: bytes) -> bool:
    """Whether a file begins as a log that is a track: by its header, the rows may be anything."""
    header = find_header(open_text(data[:_HEAD_BYTES]))
    return header is not None and _is_track(header.names)


def is_log_file(path: Path) -> bool:
    """Whether a file, gzipped or not, begins as a log that is a track.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    if head.startswith(GZIP_MAGIC):
        try:
            head = zlib.decompressobj(wbits=zlib.MAX_WBITS | 16).decompress(head, _HEAD_BYTES)
        except zlib.error:
            return False
    return is_log(head)


def parse_log(source: Source) -> Track:
    """Read a log that is in memory as a track.

    Raises
    ------
    TrackError
        If it is no log with positions or distances, holds no row, or cells of it are wrong:
        with a problem for each, at most twenty.
    """
    return _read(source, EXPECTED, _is_track)


def read_pack_log(path: Path, limits: Limits = DEFAULT_LIMITS) -> Track:
    """Read a log of battery voltage and current, without positions, that lies beside a track.

    Raises
    ------
    TrackError
        If it is no such log, holds no row, or cells of it are wrong: with a problem for each,
        at most twenty.
    """
    return _read(read_source(path, limits), EXPECTED_PACK_LOG, _is_pack_log)


def _has_time(names: Collection[str]) -> bool:
    return TIME in names or ELAPSED in names


def _is_track(names: Collection[str]) -> bool:
    placed = _POSITION.issubset(names) or not _DISTANCES.isdisjoint(names)
    return _has_time(names) and placed


def _is_pack_log(names: Collection[str]) -> bool:
    return _has_time(names) and _BATTERY.issubset(names)


def _read(source: Source, expected: str, is_wanted: Callable[[Collection[str]], bool]) -> Track:
    """Read a log whose columns are those wanted."""
    text = open_text(source.data)
    header = find_header(text)
    if header is None or not is_wanted(header.names):
        _refuse_header(source, header, expected)
    _refuse_doubles(source, header)
    wanted = [name for name in header.names if name in _KNOWN]
    table = read_rows(text, header, wanted, source)
    columns = table.columns
    if len(columns.unix_ns) == 0:
        refuse(source.path, "a header and no rows", expected)
    notes = _notes(source, header, table)
    unix_ns = columns.unix_ns
    if ELAPSED in wanted:
        unix_ns = _since_first(unix_ns)
        message = "the log counts seconds only: date and time of day are not known"
        notes.append(Note("clock-unknown", message))
    with np.errstate(over="ignore"):  # what gets infinite is dropped with other illegal values
        values = {
            LOG_COLUMNS[name].name: column * LOG_COLUMNS[name].factor
            for name, column in columns.values.items()
        }
    return make_track(source, PointColumns(unix_ns, values, columns.zoneless), notes)


def _since_first(elapsed_ns: Nanoseconds) -> Nanoseconds:
    """Elapsed times, counted from the first one: what a log began to count with means nothing."""
    timed = elapsed_ns != NO_TIME
    if not timed.any():
        return elapsed_ns
    return np.where(timed, elapsed_ns - elapsed_ns[np.argmax(timed)], NO_TIME)


def _refuse_header(source: Source, header: Header | None, expected: str) -> NoReturn:
    """End the reading of a file whose columns are not those wanted, by saying what it is."""
    names = header.names if header is not None else ()
    beside = "give the track that it lies beside"
    if set(READINGS_COLUMNS).issubset(names):
        refuse(source.path, "a file of call-outs", expected, mend=beside)
    if set(TAGS_COLUMNS).issubset(names):
        refuse(source.path, "a file of surface tags", expected, mend=beside)
    if _is_pack_log(names):
        refuse(source.path, "a pack log without positions or distances", expected, mend=beside)
    if header is None or not set(names) & set(_KNOWN):
        refuse_unknown_format(source, expected)
    place = f"line {header.line}"
    unknown = [f"'{name}': {nearest_name(name, _KNOWN)}" for name in names if _is_slip(name)]
    shown = quoted(", ".join(names))
    refuse(source.path, f"columns {shown}", expected, place=place, mend=" ".join(unknown[:1]))


def _is_slip(name: str) -> bool:
    """Whether a name looks like a mistyped one."""
    return name not in _KNOWN and nearest_name(name, _KNOWN).startswith("did you mean")


def _refuse_doubles(source: Source, header: Header) -> None:
    """End the reading of a file that says one thing in two columns."""
    said: dict[str, str] = {}
    problems = []
    for name in header.names:
        if name not in _KNOWN:
            continue
        what = TIME if name in (TIME, ELAPSED) else LOG_COLUMNS[name].name
        if what in said:
            found = f"columns {said[what]} and {name}"
            problems.append(
                Problem(display_name(source.path), f"line {header.line}", found, "one of them")
            )
        said[what] = name
    if problems:
        raise TrackError(*problems)


def _notes(source: Source, header: Header, table: Table) -> list[Note]:
    """Say what was odd about the file itself."""
    notes = []
    unknown = [name for name in header.names if name and name not in _KNOWN]
    if unknown:
        shown = [
            f"'{name}' ({nearest_name(name, _KNOWN)})" if _is_slip(name) else f"'{name}'"
            for name in unknown[:_MOST_NAMED]
        ]
        more = ["…"] if len(unknown) > _MOST_NAMED else []
        notes.append(Note("column-not-used", f"columns not used: {', '.join(shown + more)}"))
    if table.torn_line is not None:
        saved = f"{counted(len(table.columns.unix_ns), 'row')} saved"
        message = f"the file breaks off within line {table.torn_line}: {saved}"
        notes.append(Note("file-cut-short", message))
    return notes
