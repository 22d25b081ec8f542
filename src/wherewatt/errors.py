"""Every error that wherewatt raises on purpose.

    WherewattError
    ├── InputError        a file that the user gave cannot be used as it is
    │   ├── TrackError        … a track
    │   ├── SideFileError     … call-outs, tags, places or the ride sheet
    │   └── TerrainError      … a terrain tile
    ├── ConfigError       a configuration file is wrong
    ├── OutputError       a result cannot be written
    │   └── ChangedOnDisk     … a file changed while the tagging page was open (tagging/files.py)
    ├── RequestError      the tagging page sent what makes no sense (tagging/messages.py)
    └── EstimateError     the numbers do not allow an estimate

An `InputError` carries one `Problem` per thing to mend, so that all errors of a file
are reported at once, each on one line.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong with one file.

    Parameters
    ----------
    source : path or name of the file.
    place : where in it ("line 12", "byte 4096", "[rider] mass_kg"); empty for the whole file.
    found, expected : what stands there, what should.
    mend : what the user can do about it; may be empty.
    """

    source: str
    place: str
    found: str
    expected: str
    mend: str = ""

    @property
    def line(self) -> str:
        """The problem as one line of text."""
        where = f"{self.source}: {self.place}" if self.place else self.source
        mend = f"; {self.mend}" if self.mend else ""
        text = f"{where}: found {self.found}, expected {self.expected}{mend}"
        return " ".join(text.split())  # a file's own text must not break the line


class WherewattError(Exception):
    """Base of all errors raised on purpose."""


class InputError(WherewattError):
    """A file that the user gave cannot be used as it is."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__(*problems)
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(problem.line for problem in self.problems)


class TrackError(InputError):
    """A track cannot be read, or holds no ride."""


class SideFileError(InputError):
    """A file beside the track (call-outs, tags, places, ride sheet) is wrong."""


class TerrainError(InputError):
    """A terrain tile cannot be read."""


class ConfigError(WherewattError):
    """A configuration file is wrong."""


class OutputError(WherewattError):
    """A result cannot be written."""


class EstimateError(WherewattError):
    """The numbers do not allow an estimate."""


def nearest_name(name: str, known: Iterable[str]) -> str:
    """Text that helps with a mistyped name: the nearest known one, or all of them."""
    names = sorted(known)
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    return f"did you mean '{close[0]}'?" if close else "known: " + ", ".join(names)


def display_name(path: Path | str) -> str:
    """Name of a file in messages: its last part, which is what the user recognises."""
    return Path(path).name
