"""Places along a ride, as a person writes them: "2.2 mi", "0:31:00" or a clock time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum

from wherewatt.units import METRES_PER_MILE

_DISTANCE = re.compile(r"(\d{1,9}(?:\.\d*)?|\.\d+)\s*(km|mi|miles?|m)", re.IGNORECASE)
_ELAPSED = re.compile(r"(\d{1,5}):([0-5]\d):([0-5]\d(?:\.\d+)?)")
_METRES = {"km": 1000.0, "mi": METRES_PER_MILE, "mile": METRES_PER_MILE, "miles": METRES_PER_MILE}

EXPECTED = 'a distance ("2.2 mi", "3.6 km"), an elapsed time ("0:31:00") or an ISO 8601 time'


class PlaceKind(Enum):
    """How a place along the ride is given."""

    DISTANCE = "distance"
    ELAPSED = "elapsed"
    CLOCK = "clock"


@dataclass(frozen=True, slots=True)
class Place:
    """A place along a ride.

    Parameters
    ----------
    kind : what `value` is.
    value : distance from the start [m], elapsed time [s], or UTC [s since 1970].
    text : as the user wrote it.
    """

    kind: PlaceKind
    value: float
    text: str


def parse_place(text: str) -> Place:
    """Read a place along a ride.

    A clock time without a zone is taken as UTC, as in track files.

    Raises
    ------
    ValueError
        If the text is none of the three forms.
    """
    text = text.strip()
    if match := _DISTANCE.fullmatch(text):
        factor = _METRES.get(match[2].lower(), 1.0)
        return Place(PlaceKind.DISTANCE, float(match[1]) * factor, text)
    if match := _ELAPSED.fullmatch(text):
        seconds = int(match[1]) * 3600 + int(match[2]) * 60 + float(match[3])
        return Place(PlaceKind.ELAPSED, seconds, text)
    if len(text) < 16:  # a bare date is no place; "2025-05-04T10:31" is the shortest clock time
        raise ValueError(text)
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return Place(PlaceKind.CLOCK, moment.timestamp(), text)
