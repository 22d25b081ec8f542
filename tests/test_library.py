"""Rides of one vehicle, remembered in a folder."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.support.simulator import simulate
from wherewatt.allocate.factor import Factor
from wherewatt.cli import main
from wherewatt.config import load_config
from wherewatt.errors import SideFileError
from wherewatt.library import Learned, Library, RideMark
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

RIDES = (("commuter", 31), ("hilly", 32), ("city", 33))
CONFIG = load_config()


@pytest.fixture(scope="module")
def rides(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Three rides of one owner's vehicle; the first two with the energy a pack meter counted."""
    folder = tmp_path_factory.mktemp("rides")
    return [
        simulate(character, seed, garage=4).write(folder, metered=number < 2)
        for number, (character, seed) in enumerate(RIDES)
    ]


def reported(track: Path, library: Library) -> RideResult:
    result = analyse(track, TileFolder(()), CONFIG, library)
    assert result.learned is not None
    library.keep(result.learned)
    return result


def energies(result: RideResult) -> np.ndarray:
    return result.ledger.section_wh


def test_each_ride_narrows_what_is_known(rides: list[Path], tmp_path: Path) -> None:
    """A pack meter on two rides tells the capacity, which the third then knows."""
    alone = analyse(rides[2], TileFolder(()), CONFIG)
    library = Library(tmp_path)
    for track in rides[:2]:
        reported(track, library)
    pooled = reported(rides[2], library)
    assert pooled.ledger.total.sd < 0.9 * alone.ledger.total.sd
    name = "battery_usable_wh"
    assert pooled.estimate.value_sds[name] < 0.9 * alone.estimate.value_sds[name]
    truth = simulate(*RIDES[2], garage=4).truth
    assert pooled.ledger.total.low90 < truth.total_wh < pooled.ledger.total.high90
    assert "vehicle-known" in {note.code for note in pooled.notes}


def test_a_ride_left_out_is_as_if_it_had_never_been(rides: list[Path], tmp_path: Path) -> None:
    with_it, never = Library(tmp_path / "with"), Library(tmp_path / "never")
    for track in rides[:2]:
        reported(track, with_it)
    reported(rides[0], never)
    next((tmp_path / "with").rglob("hilly_32-*.json")).unlink()
    assert np.array_equal(
        energies(reported(rides[2], with_it)), energies(reported(rides[2], never))
    )


def test_order_does_not_matter_and_nothing_counts_twice(rides: list[Path], tmp_path: Path) -> None:
    there, back = Library(tmp_path / "there"), Library(tmp_path / "back")
    for track in (*rides, *rides):
        reported(track, there)
    for track in rides[::-1]:
        reported(track, back)
    last = [
        energies(analyse(rides[1], TileFolder(()), CONFIG, library)) for library in (there, back)
    ]
    assert np.array_equal(*last)
    files = sorted(path.relative_to(tmp_path / "there") for path in (tmp_path / "there").rglob("*"))
    assert files == sorted(
        path.relative_to(tmp_path / "back") for path in (tmp_path / "back").rglob("*")
    )
    for path in (tmp_path / "there").rglob("*.json"):
        twin = tmp_path / "back" / path.relative_to(tmp_path / "there")
        assert path.read_bytes() == twin.read_bytes()


def mark(sha256: str = "ab" * 32, vehicle: str = "My / scooter: 2") -> RideMark:
    return RideMark(vehicle, "ride", sha256, "2026-01-01T00:00:00+00:00")


def test_files_are_readable_and_exact(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    root = rng.normal(0.0, 1.0, (2, 2))
    factor = Factor(("a", "b"), root.T @ root, rng.normal(0.0, 1.0, 2))
    library = Library(tmp_path)
    path = library.keep(Learned(mark(), factor))
    assert path.parent.parent == tmp_path
    document = json.loads(path.read_text(encoding="utf-8"))
    assert document["vehicle"] == "My / scooter: 2"
    (other,) = library.others(mark("cd" * 32))
    assert np.array_equal(other.factor.information, factor.information)
    assert library.others(mark()) == ()
    assert library.others(mark(vehicle="another")) == ()


@pytest.mark.parametrize(
    "text",
    ["", "{}", '{"schema": "something/1"}', '{"schema": "wherewatt/ride-factor/1"}', "\x00"],
)
def test_damaged_file_gives_one_line(tmp_path: Path, text: str) -> None:
    library = Library(tmp_path)
    path = library.keep(Learned(mark(), Factor(("a",), np.eye(1), np.zeros(1))))
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SideFileError) as caught:
        library.others(mark("cd" * 32))
    assert path.name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_from_the_command_line(
    rides: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, library = tmp_path / "out", tmp_path / "library"
    for track in rides[:2]:
        assert main(["report", str(track), "--out", str(out), "--library", str(library)]) == 0
    assert "1 other ride" in capsys.readouterr().out
    assert len(list(library.rglob("*.json"))) == 2


def test_no_auxiliary_power_and_no_loss_can_be_pooled(rides: list[Path], tmp_path: Path) -> None:
    """Legal in a ride sheet; what was kept once made the files unreadable."""
    library = Library(tmp_path / "library")
    for number, track in enumerate(rides[:2]):
        copy = tmp_path / track.name
        for file in track.parent.glob(f"{track.stem}.*"):
            (tmp_path / file.name).write_bytes(file.read_bytes())
        if number == 0:
            sheet = copy.with_suffix(".toml")
            stated = "[vehicle]\nauxiliary_w = 0\ndrivetrain_efficiency = 1.0\n"
            sheet.write_text(sheet.read_text().replace("[vehicle]\n", stated))
        result = reported(copy, library)
        assert result.learned is not None
        assert np.isfinite(result.learned.factor.information).all()
        assert np.isfinite(result.learned.factor.vector).all()
    assert "vehicle-known" in {note.code for note in result.notes}
    assert result.estimate.values["auxiliary_w"] > 0.5  # the other ride had no say in this


def test_names_that_share_a_folder_are_two_vehicles(rides: list[Path], tmp_path: Path) -> None:
    library = Library(tmp_path)
    learned = reported(rides[0], library).learned
    assert learned is not None
    for number, vehicle in enumerate(("a/b", "a b")):
        mark = replace(learned.mark, vehicle=vehicle, sha256=64 * str(number))
        library.keep(replace(learned, mark=mark))
    for vehicle in ("a/b", "a b"):
        assert [ride.mark.vehicle for ride in library.rides(vehicle)] == [vehicle]
    assert {"a/b", "a b"} <= set(library.vehicles())


def test_unnamed_vehicle_is_not_kept(rides: list[Path], tmp_path: Path) -> None:
    track = tmp_path / rides[0].name
    track.write_bytes(rides[0].read_bytes())
    result = analyse(track, TileFolder(()), CONFIG, Library(tmp_path / "library"))
    assert result.learned is None
    assert "vehicle-unnamed" in {note.code for note in result.notes}
