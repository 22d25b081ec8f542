from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from tests.ingest.builders import fit_bytes, gpx_text, timed_points
from wherewatt.errors import TrackError
from wherewatt.ingest import TRACK_ENDINGS, read_track

GPX = gpx_text(timed_points(4)).encode()
FIT = fit_bytes(6)


@pytest.mark.parametrize("name", ["ride.gpx", "ride.fit", "ride.fit.gz", "ride"])
@pytest.mark.parametrize(
    ("data", "points"),
    [(GPX, 4), (FIT, 6), (gzip.compress(GPX), 4), (gzip.compress(FIT), 6)],
    ids=["gpx", "fit", "gpx.gz", "fit.gz"],
)
def test_content_decides_not_the_name(tmp_path: Path, name: str, data: bytes, points: int) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    assert len(read_track(path)) == points
    assert len(read_track(str(path))) == points


def line_of(path: Path) -> str:
    with pytest.raises(TrackError) as caught:
        read_track(path)
    line = str(caught.value)
    assert "\n" not in line
    return line


def test_text_named_fit(tmp_path: Path) -> None:
    path = tmp_path / "ride.fit"
    path.write_text("Dear diary,\ntoday …")
    assert line_of(path) == (
        "ride.fit: found text that begins 'Dear diary, today …', expected a GPX, TCX or FIT file "
        "or a CSV log"
    )


def test_missing_file_folder_and_impossible_name(tmp_path: Path) -> None:
    assert "No such file" in line_of(tmp_path / "ride.gpx")
    assert "directory" in line_of(tmp_path)
    assert "null" in line_of(tmp_path / "a\0b.gpx")


def test_gzip_with_bytes_after_it_keeps_all(tmp_path: Path) -> None:
    path = tmp_path / "ride.fit.gz"
    path.write_bytes(gzip.compress(FIT) + b"junk")
    track = read_track(path)
    assert len(track) == 6
    assert [note.code for note in track.notes] == ["file-cut-short"]


def test_endings() -> None:
    kinds = (".gpx", ".fit", ".tcx", ".csv")
    assert set(TRACK_ENDINGS) == {*kinds, *(f"{kind}.gz" for kind in kinds)}
