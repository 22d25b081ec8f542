"""What an archive holds already, and what that was made from.

Beside its tables a part has a note of its rides: of each the hash of its contents, and what its
files looked like from outside. The note is written last, so a part that has one is whole. A part
that the archive is no longer cut into is set aside until its rows have gone into others.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from wherewatt.archive.columns import TABLES
from wherewatt.archive.partition import PREFIX
from wherewatt.archive.store import Store

SCHEMA = "wherewatt/archive-part/1"
ASIDE = "_aside/"
_NOTES = "_made"
_READERS = 16  # notes fetched at a time

_OF_A_PART = re.compile(rf"(?:\w+/part=|{_NOTES}/)({PREFIX}[01]*)(?:/\w+\.parquet|\.json)")


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where a part lies.

    Parameters
    ----------
    part : its name.
    is_aside : True for one that is set aside.
    """

    part: str
    is_aside: bool = False

    def table(self, name: str) -> str:
        """Name of the file of a table."""
        return f"{self._top}{name}/part={self.part}/{name}.parquet"

    @property
    def note(self) -> str:
        """Name of the note."""
        return f"{self._top}{_NOTES}/{self.part}.json"

    @property
    def tables(self) -> tuple[str, ...]:
        """Names of the files of all tables."""
        return tuple(self.table(name) for name in TABLES)

    @property
    def _top(self) -> str:
        return ASIDE if self.is_aside else ""


@dataclass(frozen=True, slots=True)
class Held:
    """What is held of a ride.

    Parameters
    ----------
    content : hash of all it was made from; empty if it is to be tried again.
    look : what its files looked like; empty if they are to be read to know whether they changed.
    reason : why it could not be used; empty if it could.
    """

    content: str
    look: str
    reason: str = ""


Rides = Mapping[str, Held]  # by path


def write_note(out: Store, place: Place, rides: Rides) -> None:
    """Say what a part was made from.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    held = {path: [of.content, of.look, of.reason] for path, of in sorted(rides.items())}
    out.put_text(json.dumps({"schema": SCHEMA, "rides": held}, indent=0) + "\n", place.note)


def read_holdings(out: Store, files: Iterable[str]) -> dict[Place, Rides]:
    """Notes of all parts that are whole.

    Parameters
    ----------
    out : the archive.
    files : names of all files in it.
    """
    there = set(files)
    whole = [
        place
        for place in places_in(there)
        if place.note in there and there.issuperset(place.tables)
    ]
    with ThreadPoolExecutor(_READERS) as readers:
        notes = readers.map(lambda place: _read_note(out, place), whole)
        return {place: note for place, note in zip(whole, notes, strict=True) if note is not None}


def places_in(files: Iterable[str]) -> list[Place]:
    """Every part of which there is any file."""
    return sorted(set(_places(files)))


def _places(files: Iterable[str]) -> Iterator[Place]:
    for file in files:
        name = file.removeprefix(ASIDE)
        if match := _OF_A_PART.fullmatch(name):
            yield Place(match[1], is_aside=name != file)


def _read_note(out: Store, place: Place) -> Rides | None:
    """A note; None if it cannot be read: then its rides are made again."""
    try:
        note = json.loads(out.read(place.note))
        if note["schema"] != SCHEMA:
            return None
        return {str(path): Held(*map(str, held)) for path, held in note["rides"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
