"""What is absurd is refused, soon, in one line that says which limit it is."""

from __future__ import annotations

import gzip
import time
from dataclasses import fields
from pathlib import Path

import pytest

from tests.ingest.builders import P, fit_bytes, gpx_text, timed_points
from wherewatt.config import load_config
from wherewatt.errors import TrackError
from wherewatt.ingest import read_track
from wherewatt.ingest.log import read_pack_log
from wherewatt.ingest.recording import read_recording
from wherewatt.ingest.source import Limits

GPX_HEAD = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
TCX_POINT = "<Trackpoint><Time>2025-05-04T10:00:00Z</Time></Trackpoint>"


def tcx(points: str) -> bytes:
    return f"<TrainingCenterDatabase>{points}</TrainingCenterDatabase>".encode()


TRACKS = {
    "gpx": gpx_text(timed_points(50)).encode(),
    "prefixed gpx": gpx_text(timed_points(50), prefix="g").encode(),
    "fit": fit_bytes(50),
    "tcx": tcx(TCX_POINT * 50),
    "csv": b"elapsed_s,distance_m\n" + b"".join(b"%d,%d\n" % (at, at) for at in range(50)),
}


def line_of(path: Path, limits: Limits) -> str:
    with pytest.raises(TrackError) as caught:
        read_track(path, limits=limits)
    line = str(caught.value)
    assert "\n" not in line
    return line


def write(tmp_path: Path, data: bytes) -> Path:
    path = tmp_path / "ride"
    path.write_bytes(data)
    return path


def mend(name: str) -> str:
    return f"expected a smaller track file; the limit is {name} in [ingest] of config/defaults.toml"


def test_defaults_are_those_of_the_configuration() -> None:
    assert load_config().ingest == Limits()


@pytest.mark.parametrize("name", [field.name for field in fields(Limits)])
def test_limits_below_one_make_no_sense(name: str) -> None:
    with pytest.raises(ValueError, match=name):
        Limits(**{name: 0})


@pytest.mark.parametrize("kind", TRACKS)
def test_most_points(tmp_path: Path, kind: str) -> None:
    path = write(tmp_path, TRACKS[kind])
    assert len(read_track(path, limits=Limits(max_points=50))) == 50
    line = line_of(path, Limits(max_points=49))
    assert line == f"ride: found more than 49 points, {mend('max_points')}"


@pytest.mark.parametrize("kind", TRACKS)
def test_largest_file(tmp_path: Path, kind: str) -> None:
    data = TRACKS[kind]
    path = write(tmp_path, data)
    assert len(read_track(path, limits=Limits(max_file_bytes=len(data)))) == 50
    line = line_of(path, Limits(max_file_bytes=len(data) - 1))
    assert line == f"ride: found more than {len(data) - 1:,} bytes, {mend('max_file_bytes')}"


@pytest.mark.parametrize("kind", TRACKS)
def test_largest_inflated_file(tmp_path: Path, kind: str) -> None:
    data = TRACKS[kind]
    path = write(tmp_path, gzip.compress(data))
    assert len(read_track(path, limits=Limits(max_inflated_bytes=len(data)))) == 50
    line = line_of(path, Limits(max_inflated_bytes=len(data) - 1))
    found = f"found more than {len(data) - 1:,} bytes inflated"
    assert line == f"ride: {found}, {mend('max_inflated_bytes')}"


def test_gzip_bomb_ends_soon(tmp_path: Path) -> None:
    """A kilobyte grows to a megabyte, a thousand times over."""
    path = write(tmp_path, gzip.compress(bytes(1_000_000)) * 1000)
    before = time.process_time()
    assert "bytes inflated" in line_of(path, Limits(max_inflated_bytes=10_000_000))
    assert time.process_time() - before < 1.0


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (gzip.compress(b"") * 200_000, "found more than 100,000 gzip files in one"),
        (gzip.compress(b"") + bytes(50_000_000), "found an empty file"),
    ],
    ids=["empty members", "zeros"],
)
def test_gzip_of_nothing_ends_soon(tmp_path: Path, data: bytes, found: str) -> None:
    path = write(tmp_path, data)
    before = time.process_time()
    assert found in line_of(path, Limits())
    assert time.process_time() - before < 1.0


@pytest.mark.parametrize(
    ("head", "point", "tail"),
    [
        ("<TrainingCenterDatabase>", TCX_POINT, "</TrainingCenterDatabase>"),
        ('<g:gpx xmlns:g="x">', '<g:trkpt lat="1" lon="2"/>', "</g:gpx>"),
        (GPX_HEAD, '<trkpt lat="1" lon="2"/>', "</trkseg></trk></gpx>"),
    ],
    ids=["tcx", "prefixed gpx", "gpx"],
)
@pytest.mark.parametrize("depth", [150, 200_000])
def test_deepest_xml(tmp_path: Path, head: str, point: str, tail: str, depth: int) -> None:
    text = f"{head}{point}{'<a>' * depth}{'</a>' * depth}{tail}"
    line = line_of(write(tmp_path, text.encode()), Limits())
    assert line == f"ride: found more than 100 elements within each other, {mend('max_xml_depth')}"


def test_tag_or_comment_without_end_is_left_soon(tmp_path: Path) -> None:
    for long in (b"<!-- " + b"x" * 40_000_000, b"<a b='" + b"x" * 40_000_000):
        before = time.process_time()
        track = read_track(write(tmp_path, tcx(TCX_POINT) + long))
        assert time.process_time() - before < 1.0
        assert track.notes[0].code == "file-cut-short"


def test_long_line_of_a_log_is_left_soon(tmp_path: Path) -> None:
    for data in (b"x" * 20_000_000, b"elapsed_s,distance_m\n1,2\n" + b"1," * 10_000_000 + b"\n"):
        before = time.process_time()
        line_of(write(tmp_path, data), Limits())
        assert time.process_time() - before < 1.0


def test_limits_reach_every_reader_through_the_recording(tmp_path: Path) -> None:
    path = tmp_path / "ride.gpx"
    path.write_bytes(gpx_text([P("1", "2")] * 3).encode())
    few = Limits(max_points=2)
    with pytest.raises(TrackError, match="max_points"):
        read_recording(path, known_surfaces=(), vehicle_kinds={}, limits=few)
    log = tmp_path / "ride.log.csv"
    log.write_text("elapsed_s,battery_v,battery_a\n1,50,1\n2,50,1\n3,50,1\n")
    with pytest.raises(TrackError, match="max_points"):
        read_pack_log(log, few)
