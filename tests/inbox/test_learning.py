"""Rides of a watched folder learn from each other, and each counts once."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.inbox.standin import Ears
from tests.support.simulator import simulate
from wherewatt.config import load_config
from wherewatt.inbox.report_work import ReportWork
from wherewatt.inbox.settings import WatchSettings
from wherewatt.inbox.teller import Status
from wherewatt.inbox.watch import watch_folder
from wherewatt.library import Library
from wherewatt.pipeline import analyse
from wherewatt.report.files import SUMMARY_NAME
from wherewatt.terrain.tiles import TileFolder

ONCE = WatchSettings(settle_s=0.05, patience_s=0.1, once=True)


@pytest.fixture(scope="module")
def rides(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two rides of one owner's vehicle, with the energy that a pack meter counted."""
    folder = tmp_path_factory.mktemp("rides")
    for character, seed in (("city", 33), ("commuter", 31)):
        simulate(character, seed, garage=4).write(folder, metered=True)
    return folder


@pytest.fixture
def folder(rides: Path, tmp_path: Path) -> Path:
    shutil.copytree(rides, tmp_path / "drop")
    return tmp_path / "drop"


def watch(folder: Path) -> Status:
    top = folder.parent
    work = ReportWork((), library=top / "library")
    return watch_folder(folder, top / "out", work, ONCE, Ears())


def report(folder: Path, *names: str) -> None:
    """What a worker of the watch does."""
    for name in names:
        ReportWork((), library=folder.parent / "library")(folder / f"{name}.gpx", folder / "out")


def records(folder: Path) -> dict[str, dict[str, object]]:
    """By path within the library."""
    library = folder.parent / "library"
    return {
        str(path.relative_to(library)): json.loads(path.read_text(encoding="utf-8"))
        for path in library.rglob("*.json")
    }


def codes(folder: Path, name: str) -> set[str]:
    text = (folder.parent / "out" / name / SUMMARY_NAME).read_text(encoding="utf-8")
    return {warning["code"] for warning in json.loads(text)["warnings"]}


def test_the_second_starts_from_the_first(folder: Path) -> None:
    """The same numbers as two reports one after the other; nothing is made again for that."""
    assert watch(folder) == Status(done=2)
    assert "vehicle-known" not in codes(folder, "city_33")  # the first: there was nothing yet
    assert "vehicle-known" in codes(folder, "commuter_31")
    library = Library(folder.parent / "direct")
    for name in ("city_33", "commuter_31"):
        result = analyse(folder / f"{name}.gpx", TileFolder(()), load_config(), library)
        assert result.learned is not None
        library.keep(result.learned)
        path = folder.parent / "out" / name / SUMMARY_NAME
        energy = json.loads(path.read_text(encoding="utf-8"))["energy"]["battery_wh"]["mean"]
        assert energy == pytest.approx(result.ledger.total.mean, rel=1e-12)
    stamps = [path.stat().st_mtime_ns for path in (folder.parent / "out").glob("*/.stamp.json")]
    assert watch(folder) == Status(done=2)
    assert stamps == [
        path.stat().st_mtime_ns for path in (folder.parent / "out").glob("*/.stamp.json")
    ]
    assert len(records(folder)) == 2


def test_a_ride_that_changes_replaces_its_record(folder: Path) -> None:
    """Another content, vehicle or name of a ride: what it said before is gone."""
    report(folder, "city_33", "commuter_31")
    before = records(folder)
    with (folder / "city_33.gpx").open("ab") as file:
        file.write(b"\n<!-- the same ride -->\n")
    report(folder, "city_33")
    (old,), (new,) = (set(before) - set(records(folder))), (set(records(folder)) - set(before))
    assert "city_33-" in old
    assert "city_33-" in new
    sheet, vehicle = folder / "city_33.toml", records(folder)[new]["vehicle"]
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text.replace(f'"{vehicle}"', '"another one"'), encoding="utf-8")
    report(folder, "city_33")
    vehicles = {record["vehicle"] for record in records(folder).values()}
    assert vehicles == {"another one", vehicle}
    for path in folder.glob("city_33.*"):
        path.rename(path.with_name(path.name.replace("city_33", "renamed")))
    report(folder, "renamed")
    names = {record["ride"] for record in records(folder).values()}
    assert names == {"renamed", "commuter_31"}
    (folder / "renamed.toml").unlink()
    report(folder, "renamed")
    assert {record["ride"] for record in records(folder).values()} == {"commuter_31"}


def test_files_of_others_stay(folder: Path) -> None:
    shelf = folder.parent / "library" / "notes"
    shelf.mkdir(parents=True)
    texts = ["[]", "no json", '{"schema": "of/others/1", "ride": "city_33"}']
    for number, text in enumerate(texts):
        (shelf / f"{number}.json").write_text(text, encoding="utf-8")
    report(folder, "city_33")
    assert [path.read_text(encoding="utf-8") for path in sorted(shelf.iterdir())] == texts


def test_a_library_is_part_of_what_is_configured(tmp_path: Path) -> None:
    keys = {ReportWork((), library=library).key for library in (None, tmp_path, tmp_path / "a")}
    assert len(keys) == 3
    key = ReportWork((), library=tmp_path).key
    (tmp_path / "ride.json").write_text("what it holds is not", encoding="utf-8")
    assert ReportWork((), library=tmp_path).key == key
