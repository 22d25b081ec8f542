"""A folder that remembers what each ride said of its vehicle, as readable JSON.

One folder for each vehicle, one file for each ride. A file holds the ride's own words alone, so
the files may come in any order, and deleting one is as if the ride had never been.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from wherewatt.allocate.factor import Factor, combined
from wherewatt.errors import OutputError, Problem, SideFileError, display_name

SCHEMA = "wherewatt/ride-factor/1"
_ENDING = ".json"


@dataclass(frozen=True, slots=True)
class RideMark:
    """Which ride a factor comes from.

    Parameters
    ----------
    vehicle : the owner's name for the vehicle.
    ride : name of the ride.
    sha256 : of its track file.
    start_time : ISO 8601.
    """

    vehicle: str
    ride: str
    sha256: str
    start_time: str


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What a ride said of its vehicle, ready to be kept."""

    mark: RideMark
    factor: Factor


@dataclass(frozen=True, slots=True)
class Library:
    """Factors of rides by vehicle, in a folder.

    Parameters
    ----------
    folder : made when the first ride is kept.
    """

    folder: Path

    def others(self, mark: RideMark) -> tuple[Factor | None, int]:
        """What the vehicle's other rides say together, and how many they are.

        Raises
        ------
        SideFileError
            If a file of the vehicle cannot be read; all of them at once.
        """
        factors, problems = [], []
        for path in sorted(self._shelf(mark.vehicle).glob(f"*{_ENDING}")):
            try:
                sha256, factor = _read(path)
            except (ValueError, KeyError, TypeError, OSError) as error:
                problems.append(_unreadable(path, error))
                continue
            if sha256 != mark.sha256:
                factors.append((sha256, factor))
        if problems:
            raise SideFileError(*problems)
        # Sums in one order, whatever the files are called.
        factors.sort(key=lambda pair: pair[0])
        return (combined(factor for _, factor in factors) if factors else None), len(factors)

    def keep(self, learned: Learned) -> Path:
        """Write or replace a ride's file; the file is whole or not there.

        Raises
        ------
        OutputError
            If it cannot be written.
        """
        mark, factor = learned.mark, learned.factor
        shelf = self._shelf(mark.vehicle)
        path = shelf / f"{_file_name(mark.ride)}-{mark.sha256[:8]}{_ENDING}"
        try:
            shelf.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(
                "w", encoding="utf-8", dir=shelf, suffix=".part", delete=False
            ) as part:
                json.dump(_document(mark, factor), part, indent=1)
                part.write("\n")
            os.replace(part.name, path)
        except OSError as error:
            raise OutputError(
                Problem(str(path), "", str(error), "a place to write", "make room, check --library")
            ) from error
        return path

    def _shelf(self, vehicle: str) -> Path:
        return self.folder / _file_name(vehicle)


def _file_name(text: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^\w.-]+", "_", text).strip("._")[:80] or "unnamed"


def _document(mark: RideMark, factor: Factor) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "vehicle": mark.vehicle,
        "ride": mark.ride,
        "sha256": mark.sha256,
        "start_time": mark.start_time,
        "parameters": list(factor.names),
        "vector": factor.vector.tolist(),
        "information": factor.information.tolist(),
    }


def _read(path: Path) -> tuple[str, Factor]:
    document = json.loads(path.read_text(encoding="utf-8"))
    if document["schema"] != SCHEMA:
        raise ValueError(f"schema {document['schema']}")
    names = tuple(str(name) for name in document["parameters"])
    information = np.array(document["information"], dtype=np.float64)
    vector = np.array(document["vector"], dtype=np.float64)
    if information.shape != (len(names), len(names)) or vector.shape != (len(names),):
        raise ValueError(f"{len(names)} parameters with numbers for {len(vector)}")
    if not (np.isfinite(information).all() and np.isfinite(vector).all()):
        raise ValueError("numbers that are not finite")
    return str(document["sha256"]), Factor(names, information, vector)


def _unreadable(path: Path, error: Exception) -> Problem:
    found = f"no record of a ride ({error})"
    mend = "delete the file and report that ride again"
    return Problem(display_name(path), "", found, f"{SCHEMA}", mend)
