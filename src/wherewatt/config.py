"""Configuration: the shipped files, read once and checked."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from wherewatt.allocate.settings import Assumed, EstimateSettings, Prior, PriorKind, SurfacePrior
from wherewatt.errors import ConfigError, nearest_name
from wherewatt.ingest.sheet import VehicleSheet, read_vehicle_file
from wherewatt.motion.settings import MotionSettings
from wherewatt.sections.settings import PlaceSettings, SectionSettings
from wherewatt.terrain.settings import TerrainSettings

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Config:
    """Everything that can be set, by room."""

    motion: MotionSettings
    terrain: TerrainSettings
    sections: SectionSettings
    places: PlaceSettings
    estimate: EstimateSettings
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
    defaults = _read(folder / "defaults.toml")
    surfaces = _read(folder / "surfaces.toml")
    where = "defaults.toml"
    priors = {
        name: _build(Prior, table, f"{where}: [priors.{name}]")
        for name, table in defaults.pop("priors", {}).items()
    }
    return Config(
        motion=_build(MotionSettings, defaults.get("motion"), f"{where}: [motion]"),
        terrain=_build(TerrainSettings, defaults.get("terrain"), f"{where}: [terrain]"),
        sections=_build(SectionSettings, defaults.get("sections"), f"{where}: [sections]"),
        places=_build(PlaceSettings, defaults.get("places"), f"{where}: [places]"),
        estimate=_build(EstimateSettings, defaults.get("estimate"), f"{where}: [estimate]"),
        assumed=_build(Assumed, defaults.get("assumed"), f"{where}: [assumed]"),
        priors=priors,
        surfaces={
            name: _build(SurfacePrior, table, f"surfaces.toml: [{name}]")
            for name, table in surfaces.items()
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
    try:
        if "kind" in given:
            given["kind"] = PriorKind(given["kind"])
        return kind(**given)
    except (TypeError, ValueError) as error:
        raise ConfigError(f"{where}: {error}") from error
