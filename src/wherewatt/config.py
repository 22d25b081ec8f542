"""Configuration: the shipped files, read once and checked."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from wherewatt.allocate.settings import (
    Assumed,
    DiagnosticSettings,
    EstimateSettings,
    Prior,
    PriorKind,
    SurfacePrior,
)
from wherewatt.errors import ConfigError, nearest_name
from wherewatt.ingest.sheet import VehicleSheet, read_vehicle_file
from wherewatt.ingest.source import Limits
from wherewatt.motion.settings import MotionSettings
from wherewatt.outlook.settings import OutlookSettings, Pace, ReferenceRide
from wherewatt.sections.settings import PlaceSettings, SectionSettings
from wherewatt.terrain.settings import TerrainSettings

T = TypeVar("T")

_ROOMS: dict[str, Any] = {
    "ingest": Limits,
    "motion": MotionSettings,
    "terrain": TerrainSettings,
    "sections": SectionSettings,
    "places": PlaceSettings,
    "estimate": EstimateSettings,
    "diagnostics": DiagnosticSettings,
    "assumed": Assumed,
}
_REFERENCE = "reference.toml"
_OUTLOOK: dict[str, Any] = {"ride": ReferenceRide, "pace": Pace, "outlook": OutlookSettings}
_SLOWER_ON = "slower_on"


@dataclass(frozen=True, slots=True)
class Config:
    """Everything that can be set, by room."""

    ingest: Limits
    motion: MotionSettings
    terrain: TerrainSettings
    sections: SectionSettings
    places: PlaceSettings
    estimate: EstimateSettings
    diagnostics: DiagnosticSettings
    assumed: Assumed
    priors: Mapping[str, Prior]
    surfaces: Mapping[str, SurfacePrior]
    vehicles: Mapping[str, VehicleSheet]
    reference: ReferenceRide
    pace: Pace
    outlook: OutlookSettings


def shipped_folder(name: str) -> Path:
    """Folder that comes with the package: ``config`` or ``sample_tracks``.

    In an installed package it lies inside; in a checkout at the top level.
    """
    here = Path(__file__).resolve().parent
    for folder in (here / "_shipped" / name, here.parents[1] / name):
        if folder.is_dir():
            return folder
    raise ConfigError(f"{name}: found no such folder in the package, expected it to be shipped")


@cache
def load_config(folder: Path | None = None) -> Config:
    """Read the configuration from a folder; the shipped one by default.

    Raises
    ------
    ConfigError
        If a file is missing or wrong.
    """
    folder = folder or shipped_folder("config")
    where = "defaults.toml"
    defaults = _read(folder / where)
    _refuse_unknown(defaults, (*_ROOMS, "priors"), where)
    rooms = {
        name: _build(kind, defaults.get(name), f"{where}: [{name}]")
        for name, kind in _ROOMS.items()
    }
    surfaces = {
        name: _build(SurfacePrior, table, f"surfaces.toml: [{name}]")
        for name, table in _read(folder / "surfaces.toml").items()
    }
    return Config(
        **rooms,
        **_outlook(_read(folder / _REFERENCE), _REFERENCE, surfaces),
        priors={
            name: _build(Prior, table, f"{where}: [priors.{name}]")
            for name, table in defaults.get("priors", {}).items()
        },
        surfaces=surfaces,
        vehicles={
            path.stem: read_vehicle_file(path) for path in sorted(folder.glob("vehicles/*.toml"))
        },
    )


def with_reference(config: Config, path: Path) -> Config:
    """The configuration with what a file like ``reference.toml`` says instead; it may say little.

    Raises
    ------
    ConfigError
        If the file is missing or wrong.
    """
    given = _read(path)
    shipped = {name: asdict(getattr(config, _field(name))) for name in _OUTLOOK}
    shipped[_SLOWER_ON] = shipped["pace"].pop(_SLOWER_ON)
    _refuse_unknown(given, shipped, path.name)
    tables = {
        name: table | _table(given.get(name, {}), f"{path.name}: [{name}]")
        for name, table in shipped.items()
    }
    return replace(config, **_outlook(tables, path.name, config.surfaces))


def _outlook(
    tables: Mapping[str, Any], where: str, surfaces: Mapping[str, SurfacePrior]
) -> dict[str, Any]:
    """The reference ride, the pace and the settings of predictions, by field of `Config`."""
    _refuse_unknown(tables, (*_OUTLOOK, _SLOWER_ON), where)
    rooms = {
        _field(name): _build(kind, tables.get(name), f"{where}: [{name}]")
        for name, kind in _OUTLOOK.items()
    }
    slower = _table(tables.get(_SLOWER_ON, {}), f"{where}: [{_SLOWER_ON}]")
    named = [*slower, rooms["reference"].surface, rooms["outlook"].other_surface]
    for name in named:
        if name not in surfaces:
            raise ConfigError(f"{where}: found surface '{name}', {nearest_name(name, surfaces)}")
    for name, share in slower.items():
        _check_type(share, "float", f"{where}: [{_SLOWER_ON}] {name}")
        if not 0.0 < share <= 1.0:
            raise ConfigError(f"{where}: [{_SLOWER_ON}] {name}: found {share}, expected 0 to 1")
    return rooms | {"pace": replace(rooms["pace"], slower_on=slower)}


def _field(table: str) -> str:
    """Field of `Config` that holds a table of reference.toml."""
    return "reference" if table == "ride" else table


def _table(value: Any, where: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ConfigError(f"{where}: found {value!r}, expected a table")
    return value


def _refuse_unknown(tables: Mapping[str, Any], known: Iterable[str], where: str) -> None:
    names = tuple(known)
    for name in tables:
        if name not in names:
            raise ConfigError(f"{where}: found table [{name}], {nearest_name(name, names)}")


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError(f"{path.name}: {error}") from error


def _build(kind: type[T], table: Mapping[str, Any] | None, where: str) -> T:
    """A settings object from a table; every field must be there and no other."""
    known = {field.name: field for field in fields(kind)}  # type: ignore[arg-type]
    given = dict(table or {})
    for name in given:
        if name not in known:
            raise ConfigError(f"{where}: found key '{name}', {nearest_name(name, known)}")
        _check_type(given[name], str(known[name].type), f"{where} {name}")
    try:
        if "kind" in given:
            given["kind"] = PriorKind(given["kind"])
        return kind(**given)
    except (TypeError, ValueError) as error:
        raise ConfigError(f"{where}: {error}") from error


def _check_type(value: Any, declared: str, where: str) -> None:
    """Numbers are finite numbers and texts are texts, as the settings declare them.

    TOML reads ``1`` as a whole number; where a number is declared that is one too.
    """
    if "float" in declared or declared == "int":
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not math.isfinite(value):
            raise ConfigError(f"{where}: found {value!r}, expected a finite number")
        if declared == "int" and not isinstance(value, int):
            raise ConfigError(f"{where}: found {value!r}, expected a whole number")
    elif not isinstance(value, str):
        raise ConfigError(f"{where}: found {value!r}, expected text in quotes")
