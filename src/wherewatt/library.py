"""A folder that remembers what each ride said of its vehicle, as readable JSON.

One folder for each vehicle, one file for each ride. A file holds the ride's own words alone, so
the files may come in any order, and deleting one is as if the ride had never been. Beside what the
ride said of the vehicle's parameters it keeps what its sheet stated of the vehicle, so that a ride
of another day can be predicted from the folder alone.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

from wherewatt.allocate.factor import Factor, combined
from wherewatt.allocate.pool import at_temperature
from wherewatt.allocate.settings import Assumed, Prior
from wherewatt.errors import OutputError, Problem, SideFileError, display_name
from wherewatt.ingest.sheet import RideSheet, VehicleSheet
from wherewatt.physics.battery import Chemistry
from wherewatt.whole_file import write_whole

SCHEMA = "wherewatt/ride-factor/2"
_WITHOUT_FACTS = "wherewatt/ride-factor/1"  # what was written before sheets were kept
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


@dataclass(frozen=True, slots=True)
class Facts:
    """What a ride's sheet stated.

    Parameters
    ----------
    vehicle : of the vehicle.
    temperature_c : of the air on that day [°C]; None if not said.
    rider_mass_kg : rider with kit [kg]; None if not said.
    """

    vehicle: VehicleSheet
    temperature_c: float | None = None
    rider_mass_kg: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What a ride said of its vehicle, ready to be kept.

    Parameters
    ----------
    mark : which ride it was.
    factor : what it said of the parameters.
    facts : what its sheet stated; None where that is not known.
    """

    mark: RideMark
    factor: Factor
    facts: Facts | None = None


def said_together(
    rides: Sequence[Learned],
    sheet: RideSheet,
    *,
    priors: Mapping[str, Prior],
    assumed: Assumed,
) -> Factor:
    """What rides of a vehicle say of it, on a day of which the sheet tells the temperature.

    Parameters
    ----------
    rides : at least one.
    """
    factors = []
    for ride in rides:
        sheets = [sheet.vehicle] + ([ride.facts.vehicle] if ride.facts else [])
        stated = {name for name in ride.factor.names for of in sheets if getattr(of, name, None)}
        then_c = ride.facts.temperature_c if ride.facts else None
        now_c = sheet.weather.temperature_c
        factors.append(
            at_temperature(
                ride.factor, then_c, now_c, stated=stated, priors=priors, assumed=assumed
            )
        )
    return combined(factors)


@dataclass(frozen=True, slots=True)
class Library:
    """Factors of rides by vehicle, in a folder.

    Parameters
    ----------
    folder : made when the first ride is kept.
    """

    folder: Path

    def others(self, mark: RideMark) -> tuple[Learned, ...]:
        """What each of the vehicle's other rides said.

        Raises
        ------
        SideFileError
            If a file of the vehicle cannot be read; all of them at once.
        """
        return tuple(ride for ride in self.rides(mark.vehicle) if ride.mark.sha256 != mark.sha256)

    def rides(self, vehicle: str) -> tuple[Learned, ...]:
        """What each ride of a vehicle said, in an order that file names do not change.

        Raises
        ------
        SideFileError
            If a file of the vehicle cannot be read; all of them at once.
        """
        rides, problems = [], []
        for path in sorted(self._shelf(vehicle).glob(f"*{_ENDING}")):
            try:
                rides.append(_read(path))
            except FileNotFoundError:  # another process has just put a new one in its place
                continue
            except (ValueError, KeyError, TypeError, OSError) as error:
                problems.append(_unreadable(path, error))
        if problems:
            raise SideFileError(*problems)
        # Names that differ in signs a file name cannot hold share a shelf.
        own = [ride for ride in rides if ride.mark.vehicle == vehicle]
        return tuple(sorted(own, key=lambda ride: ride.mark.sha256))

    def vehicles(self) -> tuple[str, ...]:
        """Names of the vehicles of which there are rides, as their owner writes them.

        Raises
        ------
        SideFileError
            If a file that tells a name cannot be read.
        """
        names = set()
        for path in sorted(self.folder.glob(f"*/*{_ENDING}")):
            try:
                names.add(_read(path).mark.vehicle)
            except (ValueError, KeyError, TypeError, OSError) as error:
                raise SideFileError(_unreadable(path, error)) from error
        return tuple(sorted(names))

    def keep(self, learned: Learned) -> Path:
        """Write or replace a ride's file; the file is whole or not there.

        Raises
        ------
        OutputError
            If it cannot be written.
        """
        mark = learned.mark
        shelf = self._shelf(mark.vehicle)
        path = shelf / f"{_file_name(mark.ride)}-{mark.sha256[:8]}{_ENDING}"
        try:
            shelf.mkdir(parents=True, exist_ok=True)
            text = json.dumps(_document(learned), indent=1) + "\n"
            write_whole(path, text.encode("utf-8"))
        except OSError as error:
            mend = "make room, check --library"
            problem = Problem(str(path), "", str(error), "a place to write", mend)
            raise OutputError(problem.line) from error
        return path

    def _shelf(self, vehicle: str) -> Path:
        return self.folder / _file_name(vehicle)


def _file_name(text: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^\w.-]+", "_", text).strip("._")[:80] or "unnamed"


def _document(learned: Learned) -> dict[str, Any]:
    mark, factor, facts = learned.mark, learned.factor, learned.facts
    stated = asdict(facts.vehicle) if facts else {}
    return {
        "schema": SCHEMA,
        "vehicle": mark.vehicle,
        "ride": mark.ride,
        "sha256": mark.sha256,
        "start_time": mark.start_time,
        "temperature_c": facts.temperature_c if facts else None,
        "rider_mass_kg": facts.rider_mass_kg if facts else None,
        "sheet": {name: value for name, value in stated.items() if value is not None},
        "parameters": list(factor.names),
        "vector": factor.vector.tolist(),
        "information": factor.information.tolist(),
    }


def _read(path: Path) -> Learned:
    document = json.loads(path.read_text(encoding="utf-8"))
    schema = document["schema"]
    if schema not in (SCHEMA, _WITHOUT_FACTS):
        raise ValueError(f"schema {schema}")
    marks = (str(document[field.name]) for field in fields(RideMark))
    facts = _read_facts(document) if schema == SCHEMA else None
    return Learned(RideMark(*marks), _read_factor(document), facts)


def _read_factor(document: dict[str, Any]) -> Factor:
    names = tuple(str(name) for name in document["parameters"])
    information = np.array(document["information"], dtype=np.float64)
    vector = np.array(document["vector"], dtype=np.float64)
    if information.shape != (len(names), len(names)) or vector.shape != (len(names),):
        raise ValueError(f"{len(names)} parameters with numbers for {len(vector)}")
    if not (np.isfinite(information).all() and np.isfinite(vector).all()):
        raise ValueError("numbers that are not finite")
    return Factor(names, information, vector)


def _read_facts(document: dict[str, Any]) -> Facts | None:
    """What the sheet stated; None where nothing was."""
    sheet = dict(document["sheet"])
    if not sheet:
        return None
    if "battery_chemistry" in sheet:
        sheet["battery_chemistry"] = Chemistry(sheet["battery_chemistry"])
    temperature, rider = (
        None if document[name] is None else float(document[name])
        for name in ("temperature_c", "rider_mass_kg")
    )
    return Facts(VehicleSheet(**sheet), temperature, rider)


def _unreadable(path: Path, error: Exception) -> Problem:
    found = f"no record of a ride ({error})"
    mend = "delete the file and report that ride again"
    return Problem(display_name(path), "", found, f"{SCHEMA}", mend)
