"""An archive from beginning to end: what is done again, what is kept, and what is listed as bad."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pandas as pd
import pytest

from tests.archive.builders import SETTINGS, age, archive, contents, copied, here, times
from wherewatt.archive import partition
from wherewatt.archive.run import Progress, archive_rides
from wherewatt.archive.settings import archive_settings
from wherewatt.archive.store import Store, open_store
from wherewatt.config import load_config
from wherewatt.errors import InputError, OutputError
from wherewatt.lock import only_user_of


@pytest.fixture
def source(rides: Path, tmp_path: Path) -> Path:
    """The rides, to be changed."""
    return copied(rides, tmp_path / "rides")


@pytest.fixture
def out(archived: Path, source: Path, tmp_path: Path) -> Path:
    """Their archive, to be changed."""
    out = copied(archived, tmp_path / "out")
    head = json.loads((out / "_archive.json").read_text(encoding="utf-8"))
    head["source"] = str(source)
    (out / "_archive.json").write_text(json.dumps(head), encoding="utf-8")
    return out


def fresh(source: Path, tmp_path: Path) -> dict[str, str]:
    """What an archive holds that is made in one piece."""
    archive(source, tmp_path / "fresh")
    return contents(tmp_path / "fresh")


def rows(out: Path, table: str) -> pd.DataFrame:
    return pd.read_parquet(out / table)


def test_nothing_is_done_twice(source: Path, out: Path) -> None:
    before = times(out)
    told: list[Progress] = []
    summary = archive(source, out, told=told.append)
    assert (summary.rides, summary.analysed, summary.failed) == (5, 0, {})
    assert told == [Progress(5, 5, 0)]
    assert times(out) == before


def test_unchanged_rides_are_not_even_read(
    source: Path, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (source / "a" / "ride.toml").write_text("[rider]\nmass_kg = 91\n", encoding="utf-8")
    fetched = []
    real = Store.fetch

    def fetch(store: Store, name: str, copy: Path) -> None:
        fetched.append(name)
        real(store, name, copy)

    monkeypatch.setattr(Store, "fetch", fetch)
    archive(source, out)
    assert set(fetched) == {
        "a/ride.gpx",
        "a/ride.readings.csv",
        "a/ride.surface.csv",
        "a/ride.toml",
    }


def test_side_file_that_changes(source: Path, out: Path, tmp_path: Path) -> None:
    """The ride is done again, its old rows are gone, and no other part was touched."""
    before, was = rows(out, "rides").set_index("path"), times(out)
    sheet = source / "a" / "ride.toml"
    sheet.write_text('[vehicle]\nname = "e-bike"\n[rider]\nmass_kg = 91\n', encoding="utf-8")
    summary = archive(source, out)
    assert summary.analysed == 1
    after = rows(out, "rides").set_index("path")
    assert len(after) == 5
    assert set(after["vehicle"]) - set(before["vehicle"]) == {"e-bike"}
    changed = [path for path in after.index if not after.loc[path].equals(before.loc[path])]
    assert changed == ["a/ride.gpx"]
    (part,) = {name.split("/")[1] for name, when in times(out).items() if when != was[name]}
    assert part == f"part={after.loc['a/ride.gpx'].part}"
    assert contents(out) == fresh(source, tmp_path)


def test_files_touched_but_not_changed(source: Path, out: Path) -> None:
    """Their contents decide: they are read, but not analysed, and no table is written."""
    before = times(out)
    for path in source.rglob("*"):
        os.utime(path, (1.6e9, 1.6e9))
    assert archive(source, out).analysed == 0
    assert times(out) == before
    archive(source, out)  # and now their times are known
    with pytest.MonkeyPatch.context() as patch:
        patch.delattr(Store, "fetch")
        assert archive(source, out).analysed == 0


def test_rides_that_come_and_go(source: Path, out: Path, tmp_path: Path) -> None:
    shutil.copy(source / "a" / "ride.gpx", source / "b" / "again.gpx")
    (source / "b" / "ride.gpx").unlink()
    assert archive(source, out).analysed == 1
    paths = set(rows(out, "rides")["path"])
    assert "b/again.gpx" in paths
    assert "b/ride.gpx" not in paths
    assert contents(out) == fresh(source, tmp_path)


@pytest.mark.parametrize(("first", "then"), [(5, 1), (1, 5), (2, 3)])
def test_cut_otherwise_nothing_is_analysed_again(
    source: Path, tmp_path: Path, first: int, then: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when an archive grows or shrinks: rows move from part to part as they are."""
    out = tmp_path / "cut"
    monkeypatch.setattr("wherewatt.archive.plan.most_rides", lambda _: first)
    archive(source, out)
    monkeypatch.setattr("wherewatt.archive.plan.most_rides", lambda _: then)
    assert archive(source, out).analysed == 0
    assert contents(out) == fresh(source, tmp_path)
    assert not (out / "_aside").exists()
    assert all(any(folder.iterdir()) for folder in out.glob("*/part=*"))


def test_other_settings_do_all_anew(source: Path, out: Path, tmp_path: Path) -> None:
    tiles = tmp_path / "tiles"
    tiles.mkdir()
    settings = archive_settings(load_config(), [tiles])
    assert settings.key == SETTINGS.key  # no tile, no difference
    (tiles / "N44W030.hgt").write_bytes(bytes(2 * 1201 * 1201))
    settings = archive_settings(load_config(), [tiles])
    with here() as crew:
        assert archive_rides(str(source), str(out), settings, crew).analysed == 5


def test_what_an_ended_run_left_behind(source: Path, out: Path, archived: Path) -> None:
    """A part without its note, a damaged note, half a file: made again, the rest is kept."""
    notes = sorted((out / "_made").iterdir())
    notes[0].unlink()
    notes[1].write_text("{", encoding="utf-8")
    (out / "rides" / f"part={notes[2].stem}" / ".rides.parquet.17.part").write_bytes(b"PAR1")
    shutil.copytree(out / "legs" / f"part={notes[3].stem}", out / "legs" / "part=p111111111")
    assert archive(source, out).analysed == 2
    assert contents(out) == contents(archived)
    assert not list(out.rglob("*.part"))


def test_damaged_table_is_made_again(source: Path, out: Path, archived: Path) -> None:
    first = min(out.glob("legs/*/*.parquet"))
    first.write_bytes(first.read_bytes()[:-100])
    sheet = source / "a" / "ride.toml"
    part = str(rows(archived, "rides").set_index("path").loc["a/ride.gpx"].part)
    (out / "legs" / f"part={part}" / "legs.parquet").write_bytes(b"nothing")
    os.utime(sheet, (1.5e9, 1.5e9))
    assert archive(source, out).analysed == 1


def test_bad_rides_are_listed_and_skipped(source: Path, tmp_path: Path) -> None:
    (source / "a" / "ride.toml").write_text("[ridr]\nmass_kg = 80\n", encoding="utf-8")
    (source / "b" / "empty.gpx").write_bytes(b"")
    locked = source / "a" / "gone.gpx"
    locked.symlink_to(tmp_path / "nowhere")
    age(source)
    out = tmp_path / "out"
    summary = archive(source, out)
    assert set(summary.failed) == {"a/ride.gpx", "b/empty.gpx"}
    assert summary.failed["a/ride.gpx"].startswith("ride.toml: ")
    assert "an empty file" in summary.failed["b/empty.gpx"]
    failed = rows(out, "failed").set_index("path")["reason"]
    assert failed.to_dict() == summary.failed
    assert len(rows(out, "rides")) == summary.rides - 2
    again = archive(source, out)
    assert (again.analysed, again.failed) == (0, summary.failed)
    shutil.copy(source / "b" / "ride.toml", source / "a" / "ride.toml")
    mended = archive(source, out)
    assert (mended.analysed, set(mended.failed)) == (1, {"b/empty.gpx"})


def test_ride_that_cannot_be_read_now_is_tried_again(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Store.fetch

    def fetch(store: Store, name: str, copy: Path) -> None:
        if name == "b/ride.gpx":
            raise TimeoutError("the line is down")
        real(store, name, copy)

    out = tmp_path / "out"
    with monkeypatch.context() as patch:
        patch.setattr(Store, "fetch", fetch)
        failed = archive(source, out).failed
    assert failed == {
        "b/ride.gpx": "ride.gpx: found the line is down, expected a readable file; "
        "check its permissions"
    }
    assert archive(source, out).failed == {}
    assert contents(out) == fresh(source, tmp_path)


def test_defect_costs_one_ride(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from wherewatt.archive import part_work

    real = part_work.analyse

    def analyse(track: Path, *rest: object) -> object:
        if track.name == "windy_35.gpx":
            raise ZeroDivisionError("division by zero")
        return real(track, *rest)

    monkeypatch.setattr(part_work, "analyse", analyse)
    failed = archive(source, tmp_path / "out").failed
    assert list(failed) == ["a/windy_35.gpx"]
    assert "ZeroDivisionError" in failed["a/windy_35.gpx"]


def test_archive_of_another_folder(rides: Path, source: Path, out: Path) -> None:
    with pytest.raises(InputError, match=r"--moved"):
        archive(rides, out)
    assert archive(rides, out, is_moved=True).analysed == 0
    with pytest.raises(InputError):
        archive(source, out)


def test_folder_that_is_no_archive(rides: Path, tmp_path: Path) -> None:
    (tmp_path / "_archive.json").write_text('{"schema": "something else"}', encoding="utf-8")
    with pytest.raises(InputError, match="something else"):
        archive(rides, tmp_path)


def test_full_disk_ends_the_run_with_one_line(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And what was finished before is kept."""
    real, puts = Store.put, []

    def put(store: Store, made: Path, name: str) -> None:
        puts.append(name)
        if len(puts) == 9:
            raise OutputError(f"{name}: cannot be written: No space left on device")
        real(store, made, name)

    out = tmp_path / "out"
    with monkeypatch.context() as patch:
        patch.setattr(Store, "put", put)
        with pytest.raises(OutputError, match="No space left"):
            archive(source, out)
    assert len(list((out / "_made").iterdir())) == 1
    assert archive(source, out).analysed == 4
    assert contents(out) == fresh(source, tmp_path)


def test_worker_without_room_ends_the_run_with_one_line(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wherewatt.archive.part_files.PartFiles.add", no_room)
    with pytest.raises(OutputError, match="a worker could not go on: No space left on device"):
        archive(source, tmp_path / "out")


def test_object_store_holds_the_same_bytes(rides: Path, archived: Path, tmp_path: Path) -> None:
    """From one URL to another; here they are of fsspec's store in memory."""
    source, out = open_store("memory://test-run/rides"), open_store("memory://test-run/out")
    try:
        source.files.put(str(rides), source.root, recursive=True)
        assert archive(source.url, out.url).analysed == 5
        assert archive(source.url, out.url).analysed == 0
        out.files.get(out.root, str(tmp_path / "copy"), recursive=True)
    finally:
        source.files.rm("/test-run", recursive=True)
    assert contents(tmp_path / "copy") == contents(archived)


def test_names_that_are_no_text(source: Path, tmp_path: Path) -> None:
    """Names of files are bytes; a table holds what of them is text."""
    name = os.fsdecode(b"ride \xff.gpx")
    try:
        shutil.copy(source / "b" / "ride.gpx", source / name)
    except OSError:
        pytest.skip("this file system takes no such names")
    out = tmp_path / "out"
    assert archive(source, out).failed == {}
    assert "ride ?.gpx" in set(rows(out, "rides")["path"])
    assert archive(source, out).analysed == 0


def test_part_names_are_no_numbers() -> None:
    """Readers that guess types take them for text."""
    assert not partition.PREFIX.isdigit()


def test_one_run_at_a_time(source: Path, out: Path) -> None:
    before = contents(out)
    message = r"out: found a running archive \(process \d+ on .+\), expected a folder for this"
    with only_user_of(out, "archive"), pytest.raises(InputError, match=message):
        archive(source, out)
    assert contents(out) == before
    assert archive(source, out).rides == 5


def test_refused_run_leaves_no_folder(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError):
        archive(tmp_path / "empty", tmp_path / "new" / "out")
    assert not (tmp_path / "new" / "out").exists()
    (tmp_path / "mine").mkdir()
    with pytest.raises(InputError):
        archive(tmp_path / "empty", tmp_path / "mine")
    assert (tmp_path / "mine").is_dir()
