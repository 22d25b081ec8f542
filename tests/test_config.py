"""The shipped configuration loads, says where its numbers come from, and is checked."""

from __future__ import annotations

import re
import shutil
from dataclasses import fields
from pathlib import Path

import pytest

from wherewatt.config import Config, load_config, shipped_folder
from wherewatt.errors import ConfigError


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the shipped configuration, to be spoilt."""
    return Path(shutil.copytree(shipped_folder("config"), tmp_path / "config"))


def replace_in(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_shipped_configuration_loads() -> None:
    config = load_config()
    assert all(getattr(config, field.name) for field in fields(Config))
    assert load_config() is config


def test_every_prior_has_a_source_and_a_sensible_spread() -> None:
    for name, prior in load_config().priors.items():
        assert prior.source.strip(), name
        assert prior.unit.strip(), name
        assert prior.spread > 0.0, name
        assert prior.stated_spread is None or prior.stated_spread < prior.spread, name
        assert prior.kind == "linear" or prior.center > 0.0, name
        assert prior.kind != "log_loss" or prior.center < 1.0, name


def test_every_surface_has_a_source() -> None:
    surfaces = load_config().surfaces
    assert {"asphalt", "gravel", "untagged"} <= set(surfaces)
    for name, surface in surfaces.items():
        assert surface.source.strip(), name
        assert surface.ratio > 0.0, name
        assert surface.spread > 0.0, name
    assert surfaces["asphalt"].ratio == 1.0


def test_every_setting_has_a_reason_or_a_plain_name() -> None:
    """Nearly every number of the defaults has a comment or a source beside it."""
    text = (shipped_folder("config") / "defaults.toml").read_text(encoding="utf-8")
    settings = text.split("[priors.")[0]
    numbers = re.findall(r"^\w+ = .*$", settings, re.MULTILINE)
    explained = [line for line in numbers if "#" in line]
    assert len(explained) >= 0.6 * len(numbers)


def test_vehicles_are_kinds_not_products() -> None:
    vehicles = load_config().vehicles
    assert len(vehicles) >= 3
    for name, vehicle in vehicles.items():
        assert re.fullmatch(r"[a-z-]+", name)
        assert vehicle.mass_kg is not None


@pytest.mark.parametrize(
    ("file", "old", "new", "nearest"),
    [
        ("defaults.toml", "stop_speed_m_s", "stop_sped_m_s", "stop_speed_m_s"),
        ("defaults.toml", "tile_sd_m", "tile_sdm", "tile_sd_m"),
        ("defaults.toml", "student_dof", "student_dofs", "student_dof"),
        ("defaults.toml", 'unit = "kg"', 'units = "kg"', "unit"),
        ("surfaces.toml", "ratio", "ration", "ratio"),
        ("vehicles/e-scooter.toml", "drag_area_m2", "drag_aria_m2", "drag_area_m2"),
    ],
)
def test_unknown_key_names_the_nearest(
    folder: Path, file: str, old: str, new: str, nearest: str
) -> None:
    replace_in(folder / file, f"\n{old}", f"\n{new}")
    with pytest.raises(ConfigError, match=f"did you mean '{nearest}'") as caught:
        load_config(folder)
    assert Path(file).name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_missing_key(folder: Path) -> None:
    path = folder / "defaults.toml"
    text = re.sub(r"^gap_s = .*\n", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match="gap_s"):
        load_config(folder)


def test_unknown_kind_of_prior(folder: Path) -> None:
    replace_in(folder / "defaults.toml", '\nkind = "linear"', '\nkind = "flat"')
    with pytest.raises(ConfigError, match=r"defaults\.toml: \[priors\."):
        load_config(folder)


def test_unknown_table_is_an_error(folder: Path) -> None:
    path = folder / "defaults.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text("[moton]\ngap_s = 5.0\n" + text, encoding="utf-8")
    with pytest.raises(ConfigError, match="did you mean 'motion'"):
        load_config(folder)


@pytest.mark.parametrize("value", ['"20"', "true", "nan"])
def test_value_of_the_wrong_type_is_an_error(folder: Path, value: str) -> None:
    path = folder / "defaults.toml"
    text = re.sub(r"^gap_s = \S+", f"gap_s = {value}", path.read_text("utf-8"), flags=re.MULTILINE)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match="gap_s"):
        load_config(folder)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"defaults\.toml"):
        load_config(tmp_path)


def test_file_that_is_no_toml(folder: Path) -> None:
    (folder / "surfaces.toml").write_text("[asphalt\n", encoding="utf-8")
    with pytest.raises(ConfigError, match=r"surfaces\.toml"):
        load_config(folder)
