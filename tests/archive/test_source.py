"""Which rides lie in a source."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.archive.builders import age
from wherewatt.archive.source import Found, find_rides
from wherewatt.archive.store import open_store
from wherewatt.errors import InputError
from wherewatt.ingest.recording import find_tracks

LOG = "time,latitude_deg,longitude_deg\n2026-05-01T10:00:00Z,44.1,-29.9\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Files of many kinds, long there."""
    names = ("a/ride.gpx", "a/ride.toml", "a/ride.readings.csv", "b/ride.gpx", "b/other.FIT.gz")
    hidden = (".hidden/ride.gpx", "b/.ride.gpx")
    for name in (*names, *hidden, "a/places.geojson", "a/note.txt", "a/ride.surface.csv"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(name, encoding="utf-8")
    (tmp_path / "b/log.csv").write_text(LOG, encoding="utf-8")
    (tmp_path / "b/prices.csv").write_text("what,how much\nbread,4\n", encoding="utf-8")
    age(tmp_path)
    return tmp_path


def found(folder: Path, settings: str = "") -> dict[str, Found]:
    return {ride.path: ride for ride in find_rides(open_store(str(folder)), settings)}


def test_the_tracks_are_those_that_the_report_takes(folder: Path) -> None:
    tracks = [str(path.relative_to(folder)) for path in find_tracks([folder])]
    assert sorted(found(folder)) == sorted(tracks)
    assert set(tracks) == {"a/ride.gpx", "b/ride.gpx", "b/other.FIT.gz", "b/log.csv"}


def test_side_files_lie_beside_the_track(folder: Path) -> None:
    rides = found(folder)
    assert rides["a/ride.gpx"].files == (
        "places.geojson",
        "ride.gpx",
        "ride.readings.csv",
        "ride.surface.csv",
        "ride.toml",
    )
    assert rides["b/ride.gpx"].files == ("ride.gpx",)
    assert rides["a/ride.gpx"].ride != rides["b/ride.gpx"].ride


def test_whatever_changes_is_seen_from_outside(folder: Path) -> None:
    before = found(folder)
    assert found(folder) == before
    assert all(ride.look for ride in before.values())
    assert found(folder, "other settings")["a/ride.gpx"].look != before["a/ride.gpx"].look
    (folder / "a/ride.readings.csv").unlink()
    (folder / "b/ride.toml").write_text("", encoding="utf-8")
    os.utime(folder / "b/other.FIT.gz", (1e9, 1e9))
    age(folder)
    after = found(folder)
    changed = {path for path in before if before[path] != after[path]}
    assert changed == {"a/ride.gpx", "b/ride.gpx", "b/other.FIT.gz"}


def test_what_was_just_written_is_not_trusted(folder: Path) -> None:
    """It might be written again within the same tick of the file system's clock."""
    (folder / "b/ride.gpx").write_text("new", encoding="utf-8")
    assert found(folder)["b/ride.gpx"].look == ""


def test_folder_without_rides(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no track in this folder"):
        find_rides(open_store(str(tmp_path)), "")
    with pytest.raises(InputError, match="no such folder"):
        find_rides(open_store(str(tmp_path / "missing")), "")


def test_object_store_is_searched_alike(folder: Path) -> None:
    store = open_store("memory://test-source/rides")
    store.files.put(str(folder), store.root, recursive=True)
    try:
        in_store = {ride.path: ride.files for ride in find_rides(store, "")}
    finally:
        store.remove("")
    assert in_store == {path: ride.files for path, ride in found(folder).items()}


def test_links_to_folders_are_not_followed(folder: Path) -> None:
    before = found(folder)
    (folder / "a" / "loop").symlink_to(folder, target_is_directory=True)
    assert found(folder) == before
