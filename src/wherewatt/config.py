"""Configuration: the shipped files, read once and checked."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
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
    for name in defaults:
        if name not in (*_ROOMS, "priors"):
            raise ConfigError(
                f"{where}: found table [{name}], {nearest_name(name, (*_ROOMS, 'priors'))}"
            )
    rooms = {
        name: _build(kind, defaults.get(name), f"{where}: [{name}]")
        for name, kind in _ROOMS.items()
    }
    return Config(
        **rooms,
        priors={
            name: _build(Prior, table, f"{where}: [priors.{name}]")
            for name, table in defaults.get("priors", {}).items()
        },
        surfaces={
            name: _build(SurfacePrior, table, f"surfaces.toml: [{name}]")
            for name, table in _read(folder / "surfaces.toml").items()
        },
        vehicles={
            path.stem: read_vehicle_file(path) for path in sorted(folder.glob("vehicles/*.toml"))
        },
    )


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
