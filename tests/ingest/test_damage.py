"""Whatever the bytes: a track, or one of our own errors; never anything else."""

from __future__ import annotations

import contextlib
import gzip
import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.ingest.builders import (
    P,
    file_id,
    fit_bytes,
    fit_part,
    fit_rows,
    gpx_text,
    records,
    timed_points,
)
from wherewatt.errors import WherewattError
from wherewatt.ingest import read_track
from wherewatt.ingest.places import read_places
from wherewatt.ingest.readings import read_readings
from wherewatt.ingest.sheet import read_sheet
from wherewatt.ingest.tags import read_tags

SEED = 20250504
RICH = "<ele>1</ele><extensions><x:a><x:speed>4</x:speed></x:a><power>9</power></extensions>"
TRACKS = {
    "gpx": gpx_text([*timed_points(20), P("1", "2", RICH)]).encode(),
    "prefixed gpx": gpx_text([P("1", "2")] * 5, prefix="g").encode(),
    "utf-16 gpx": gpx_text(timed_points(5)).encode("utf-16"),
    "fit": fit_bytes(20),
    "chained fit": fit_bytes(5) + fit_part(file_id(4) + records(fit_rows(5), big_endian=True)),
    "gpx.gz": gzip.compress(gpx_text(timed_points(20)).encode()),
    "fit.gz": gzip.compress(fit_bytes(20)),
}


def garbled(data: bytes, rng: random.Random) -> bytes:
    """The data after one to eight strokes of bad luck."""
    bent = bytearray(data)
    for _ in range(rng.randint(1, 8)):
        at = rng.randrange(len(bent)) if bent else 0
        match rng.randrange(6):
            case 0:
                del bent[at:]
            case 1:
                del bent[at : at + rng.randint(1, 40)]
            case 2:
                bent[at:at] = rng.randbytes(rng.randint(1, 8))
            case 3:
                bent[at : at + 1] = bytes((rng.randrange(256),))
            case 4:
                bent[at : at + 16] = bytes(16)
            case _:
                bent[at:at] = bent[at // 2 : at // 2 + rng.randint(1, 60)]
    return bytes(bent)


def survives(path: Path) -> None:
    try:
        track = read_track(path)
    except WherewattError:
        return
    assert len(track) > 0
    assert track.to_frame().shape == (len(track), 11)


@pytest.mark.parametrize("name", TRACKS)
def test_garbled_tracks(tmp_path: Path, name: str) -> None:
    rng = random.Random(f"{SEED} {name}")
    path = tmp_path / "ride"
    for _ in range(400):
        path.write_bytes(garbled(TRACKS[name], rng))
        survives(path)


@pytest.mark.parametrize("name", ["gpx", "fit"])
def test_tracks_cut_at_every_byte(tmp_path: Path, name: str) -> None:
    path = tmp_path / "ride"
    for end in range(0, len(TRACKS[name]), 3):
        path.write_bytes(TRACKS[name][:end])
        survives(path)


SIDE_FILES = {
    "readings": b"at,battery_pct,voltage_v,state,note\n"
    b'1 km,88 %,51.5 V,riding,"a, b"\n0:10:00,80\n',
    "tags": b"from,to,surface,structure\n1 km,2 km,gravel,bridge\n0:10:00,0:11:00,gravel,\n",
    "sheet": b'[vehicle]\nname = "x"\nmass_lb = 40\npedal_assist = true\n[rider]\nmass_kg = 80\n',
    "places": b'{"type": "Feature", "properties": {"surface": "gravel"}, "geometry": '
    b'{"type": "LineString", "coordinates": [[7.5, 46], [7, 47, 1]]}}',
}


def read_side_file(name: str, path: Path) -> None:
    match name:
        case "readings":
            read_readings(path)
        case "tags":
            read_tags(path, ("gravel",))
        case "sheet":
            read_sheet(path, {})
        case _:
            read_places(path, ("gravel",))


@pytest.mark.parametrize("name", SIDE_FILES)
def test_garbled_side_files(tmp_path: Path, name: str) -> None:
    rng = random.Random(f"{SEED} {name}")
    path = tmp_path / "side"
    for _ in range(500):
        path.write_bytes(garbled(SIDE_FILES[name], rng))
        with contextlib.suppress(WherewattError):
            read_side_file(name, path)


@given(st.binary(max_size=300))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
def test_arbitrary_bytes(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "any"
    for prefix in (b"", b"<gpx>", b"\x0e\x10\x00\x00\x00\x00\x00\x00.FIT", b"\x1f\x8b\x08\x00"):
        path.write_bytes(prefix + data)
        survives(path)
    for name in SIDE_FILES:
        with contextlib.suppress(WherewattError):
            read_side_file(name, path)
