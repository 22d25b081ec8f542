from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest

from tests.ingest.builders import fit_bytes, gpx_text, timed_points
from wherewatt.errors import SideFileError, TrackError
from wherewatt.ingest.recording import Recording, find_tracks, read_recording
from wherewatt.ingest.sheet import RideSheet, VehicleSheet

PLACES = json.dumps(
    {
        "type": "Feature",
        "properties": {"surface": "gravel"},
        "geometry": {"type": "LineString", "coordinates": [[7, 46], [7, 47]]},
    }
)
SIDE_FILES = {
    "ride.readings.csv": "at,battery_pct\n0 km,100\n",
    "ride.surface.csv": "from,to,surface\n0 km,1 km,gravel\n",
    "ride.toml": '[vehicle]\nname = "cargo bike"\n',
    "places.geojson": PLACES,
}


def write(folder: Path, name: str, content: str | bytes) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def read(path: Path) -> Recording:
    return read_recording(
        path, known_surfaces=("gravel",), vehicle_kinds={"cargo-bike": VehicleSheet(mass_kg=40.0)}
    )


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("ride.gpx", gpx_text(timed_points(3)).encode()),
        ("ride.gpx.gz", gzip.compress(gpx_text(timed_points(3)).encode())),
        ("ride.fit", fit_bytes(3)),
        ("ride.FIT.GZ", gzip.compress(fit_bytes(3))),
    ],
)
def test_side_files_beside_the_track(tmp_path: Path, name: str, data: bytes) -> None:
    path = write(tmp_path, name, data)
    for side_name, text in SIDE_FILES.items():
        write(tmp_path, side_name, text)
    recording = read(path)
    assert len(recording.track) == 3
    assert [call_out.battery_pct for call_out in recording.call_outs] == [100.0]
    assert [tag.surface for tag in recording.tags] == ["gravel"]
    assert [line.surface for line in recording.places] == ["gravel"]
    assert recording.sheet.vehicle.name == "cargo bike"
    assert recording.sheet.kind == VehicleSheet(mass_kg=40.0)


def test_track_alone(tmp_path: Path) -> None:
    recording = read(write(tmp_path, "ride.fit", fit_bytes(3)))
    assert (recording.call_outs, recording.tags, recording.places) == ((), (), ())
    assert recording.sheet == RideSheet()


def test_side_files_of_other_rides_are_left_alone(tmp_path: Path) -> None:
    write(tmp_path, "other.readings.csv", "rubbish")
    assert read(write(tmp_path, "ride.fit", fit_bytes(3))).call_outs == ()


def test_problems_of_all_side_files_at_once(tmp_path: Path) -> None:
    path = write(tmp_path, "ride.fit", fit_bytes(3))
    write(tmp_path, "ride.readings.csv", "at,battery_pct\n0 km,101\n1 km,102\n")
    write(tmp_path, "ride.surface.csv", "from,to,surface\n0 km,1 km,mud\n")
    write(tmp_path, "places.geojson", "[]")
    (tmp_path / "ride.toml").mkdir()
    with pytest.raises(SideFileError) as caught:
        read(path)
    assert [line.split(": found")[0] for line in str(caught.value).split("\n")] == [
        "ride.readings.csv: line 2",
        "ride.readings.csv: line 3",
        "ride.surface.csv: line 2",
        "places.geojson",
        "ride.toml",
    ]


def test_find_tracks(tmp_path: Path) -> None:
    names = ("b.gpx", "a.FIT", "deep/er/c.gpx.gz", "deep/d.fit.gz")
    wanted = [write(tmp_path, name, "") for name in names]
    for name in ("a.csv", ".hidden.gpx", ".git/e.gpx", "gpx"):
        write(tmp_path, name, "")
    assert find_tracks([tmp_path]) == tuple(sorted(wanted))
    odd = write(tmp_path, "track.xml", "")
    assert find_tracks([odd, str(wanted[0]), tmp_path, wanted[0]]) == tuple(sorted([odd, *wanted]))


def test_find_tracks_reports_all_that_is_missing(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "loop.gpx").symlink_to(tmp_path / "loop.gpx")
    with pytest.raises(TrackError) as caught:
        find_tracks([tmp_path / "none.gpx", tmp_path / "empty", tmp_path / "loop.gpx", "a\0b"])
    first, second, third, fourth = str(caught.value).split("\n")
    assert first == (
        f"{tmp_path}/none.gpx: found No such file or directory, "
        "expected a track file or a folder of tracks"
    )
    assert second == (
        "empty: found no track in this folder, expected files with "
        ".gpx, .fit, .tcx, .gpx.gz, .fit.gz, .tcx.gz, .csv, .csv.gz"
    )
    assert "loop" in third
    assert "null" in fourth
