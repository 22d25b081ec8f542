"""What counts as a ride, and as a change of one."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from wherewatt.inbox.drops import Drop, look_into

LOG = "time,latitude_deg,longitude_deg\n2025-05-04T10:00:00Z,44.5,-29.5\n"


def put(folder: Path, *names: str, text: str = "x") -> None:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def seen(folder: Path, out: Path | None = None, owner: str = "") -> dict[str, Drop]:
    look = look_into(folder, out or folder / "reports", lambda _result: owner)
    assert look.troubles == ()
    return {drop.name: drop for drop in look.drops}


def test_tracks_with_their_side_files(tmp_path: Path) -> None:
    put(
        tmp_path, "a.gpx", "a.readings.csv", "a.toml", "b.FIT.gz", "sub/c.tcx", "sub/places.geojson"
    )
    drops = seen(tmp_path)
    assert {name: drop.inputs for name, drop in drops.items()} == {
        "a.gpx": ("a.gpx", "a.readings.csv", "a.toml"),
        "b.FIT.gz": ("b.FIT.gz",),
        "sub/c.tcx": ("c.tcx", "places.geojson"),
    }
    assert [drop.result for drop in drops.values()] == ["a", "b", "sub/c"]


def test_what_is_passed_over(tmp_path: Path) -> None:
    hidden = [".a.gpx", "~a.gpx", ".cache/a.gpx", "a.gpx.part", "a.gpx.crdownload", "a.gpx.tmp"]
    put(tmp_path, *hidden, "notes.txt", "a.gpx.problem.txt", "a.surface.csv", "table.csv")
    put(tmp_path, "reports/a/sections.csv", "reports/b.gpx")
    (tmp_path / "folder.gpx").mkdir()
    os.mkfifo(tmp_path / "pipe.gpx")
    (tmp_path / "nowhere.gpx").symlink_to(tmp_path / "missing")
    assert seen(tmp_path) == {}


def test_a_log_is_a_track_and_another_table_is_not(tmp_path: Path) -> None:
    put(tmp_path, "ride.csv", "ride.log.csv", text=LOG)
    put(tmp_path, "sums.csv", text="a,b\n1,2\n")
    drops = seen(tmp_path)
    assert list(drops) == ["ride.csv"]
    assert drops["ride.csv"].inputs == ("ride.csv", "ride.log.csv")


@pytest.mark.parametrize(
    "name", ["a.gpx", "a.readings.csv", "a.surface.csv", "a.toml", "a.log.csv", "places.geojson"]
)
def test_every_file_of_a_ride_counts(name: str, tmp_path: Path) -> None:
    """The names are those of the contract on files beside a track."""
    put(tmp_path, "a.gpx")
    before = seen(tmp_path)["a.gpx"]
    assert before.unchanged()
    put(tmp_path, name, text="other text")
    assert not before.unchanged()
    assert seen(tmp_path)["a.gpx"] != before


def test_change_with_the_same_size_and_time(tmp_path: Path) -> None:
    """Copying programs set the time back; the system's own time of change cannot be set."""
    put(tmp_path, "a.gpx", text="one")
    before = seen(tmp_path)["a.gpx"]
    then = (tmp_path / "a.gpx").stat()
    put(tmp_path, "a.gpx", text="two")
    os.utime(tmp_path / "a.gpx", ns=(then.st_atime_ns, then.st_mtime_ns))
    assert not before.unchanged()


def test_being_downloaded(tmp_path: Path) -> None:
    put(tmp_path, "a.gpx", text="")
    assert not seen(tmp_path)["a.gpx"].unfinished
    put(tmp_path, "a.gpx.part", text="<gpx")
    drop = seen(tmp_path)["a.gpx"]
    assert drop.unfinished
    assert drop.inputs == ("a.gpx",)
    put(tmp_path, "a.gpx.part", text="<gpx version")
    assert not drop.unchanged()


def test_one_of_two_tracks_of_one_name(tmp_path: Path) -> None:
    put(tmp_path, "a.gpx", "a.fit", "sub/a.gpx")
    rivals = {name: drop.rival for name, drop in seen(tmp_path).items()}
    assert rivals == {"a.fit": "", "a.gpx": "a.fit", "sub/a.gpx": ""}
    rivals = {name: drop.rival for name, drop in seen(tmp_path, owner="a.gpx").items()}
    assert rivals == {"a.fit": "a.gpx", "a.gpx": "", "sub/a.gpx": ""}


def test_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        seen(tmp_path / "gone")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may look into every folder")
def test_subfolder_that_may_not_be_read(tmp_path: Path) -> None:
    put(tmp_path, "a.gpx", "closed/b.gpx")
    (tmp_path / "closed").chmod(0)
    look = look_into(tmp_path, tmp_path / "reports", lambda _result: "")
    (tmp_path / "closed").chmod(0o700)
    assert [drop.name for drop in look.drops] == ["a.gpx"]
    (line,) = look.troubles
    assert "closed: cannot be looked into: Permission denied" in line
