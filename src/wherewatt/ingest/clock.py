"""Times as text: ISO 8601 to whole nanoseconds, as far as track files write it."""

from __future__ import annotations

import re
from datetime import date
from typing import NamedTuple

from wherewatt.ingest.points import NS_LIMIT

_MOMENT = re.compile(
    r"(\d{4})-(\d\d?)-(\d\d?)[T ](\d\d?):(\d\d?):(\d\d?)"
    r"(?:\.(\d+))?(Z|[+-]\d\d(?::?\d\d)?)?",
    re.ASCII | re.IGNORECASE,
)
_LONGEST = 64  # characters of a time that is not absurd
_UNIX_DAY = date(1970, 1, 1).toordinal()
_NS_PER_S = 1_000_000_000


class Moment(NamedTuple):
    """UTC [ns since 1970], and whether the text named a zone."""

    unix_ns: int
    zoned: bool


def parse_moment(text: str) -> Moment | None:
    """Read a time such as ``2025-05-04T12:00:00.25+02:00``; None if it is not readable.

    Without a zone it is taken as UTC. What is finer than a nanosecond is cut off. Times that no
    calendar or clock knows (30 February, 24:00, second 60), and times farther than 146 years
    from 1970, are not readable.
    """
    match = _MOMENT.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        return None
    year, month, day, hour, minute, second = map(int, match.group(1, 2, 3, 4, 5, 6))
    if hour > 23 or minute > 59 or second > 59:
        return None
    try:
        days = date(year, month, day).toordinal() - _UNIX_DAY
        offset_s = _offset_s(match[8])
    except ValueError:
        return None
    seconds = 86_400 * days + 3600 * hour + 60 * minute + second - offset_s
    unix_ns = seconds * _NS_PER_S + int((match[7] or "0")[:9].ljust(9, "0"))
    return Moment(unix_ns, match[8] is not None) if abs(unix_ns) < NS_LIMIT else None


def _offset_s(zone: str | None) -> int:
    """How far a zone is ahead of UTC [s].

    Raises
    ------
    ValueError
        If no zone is that far.
    """
    if zone is None or zone in "Zz":
        return 0
    hours, minutes = int(zone[1:3]), int(zone[3:].lstrip(":") or 0)
    if hours > 23 or minutes > 59:
        raise ValueError(zone)
    return (-1 if zone[0] == "-" else 1) * (3600 * hours + 60 * minutes)
