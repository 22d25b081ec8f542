from __future__ import annotations

import gzip
import math
import random
import xml.etree.ElementTree as ElementTree
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from tests.ingest.builders import gpx_text, timed_points
from wherewatt.errors import TrackError
from wherewatt.ingest import read_track
from wherewatt.ingest.source import Limits
from wherewatt.ingest.tcx import read_tcx
from wherewatt.ingest.track import Mark, MarkKind, Track

POINT = (
    "<Trackpoint><Time>2025-05-04T12:00:00.25+02:00</Time><Position><LatitudeDegrees>46.5"
    "</LatitudeDegrees><LongitudeDegrees>-7.25</LongitudeDegrees></Position><AltitudeMeters>0.0"
    "</AltitudeMeters><DistanceMeters>12.5</DistanceMeters><Cadence>80</Cadence><Extensions>"
    "<TPX><Speed>4.5</Speed><Watts>130</Watts></TPX></Extensions></Trackpoint>"
)
BARE = "<Trackpoint><Time>2025-05-04T10:00:01.75Z</Time></Trackpoint>"
HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<TrainingCenterDatabase xmlns="http://example.org/t">'
)
TAIL = "</TrainingCenterDatabase>\n"


def lap(points: str, *, start: str = "2025-05-04T10:00:00Z", inner: str = "") -> str:
    return f'<Lap StartTime="{start}">{inner}<Track>\n{points}\n</Track></Lap>'


def activity(*laps: str) -> str:
    inner = "\n".join(laps)
    return f'{HEAD}<Activities><Activity Sport="Biking">{inner}</Activity></Activities>{TAIL}'


def write(tmp_path: Path, text: str | bytes, name: str = "ride.tcx") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(tmp_path: Path, text: str | bytes) -> Track:
    return read_track(write(tmp_path, text))


def codes(track: Track) -> list[str]:
    return [note.code for note in track.notes]


def line_of(tmp_path: Path, text: str | bytes) -> str:
    with pytest.raises(TrackError) as caught:
        read_tcx(write(tmp_path, text))
    line = str(caught.value)
    assert "\n" not in line
    return line


def same(one: Track, other: Track) -> None:
    for name, column in one.columns.items():
        np.testing.assert_array_equal(column, other.columns[name], err_msg=name)
    assert one.start_unix_ns == other.start_unix_ns
    assert one.marks == other.marks


def test_all_columns_and_a_point_without_position(tmp_path: Path) -> None:
    track = read(tmp_path, activity(lap(POINT + BARE)))
    assert track.start_unix_ns == 1_746_352_800_250_000_000
    np.testing.assert_array_equal(track.time_s, [0.0, 1.5])
    np.testing.assert_array_equal(track.latitude_deg, [46.5, np.nan])
    np.testing.assert_array_equal(track.longitude_deg, [-7.25, np.nan])
    np.testing.assert_array_equal(track.elevation_m, [0.0, np.nan])
    np.testing.assert_array_equal(track.odometer_m, [12.5, np.nan])
    np.testing.assert_array_equal(track.cadence_rpm, [80.0, np.nan])
    np.testing.assert_array_equal(track.speed_m_s, [4.5, np.nan])
    np.testing.assert_array_equal(track.rider_w, [130.0, np.nan])
    assert np.isnan(track.temperature_c).all()
    assert codes(track) == ["position-missing"]


def test_any_prefix_gzip_and_wide_characters_give_the_same(tmp_path: Path) -> None:
    plain = read(tmp_path, activity(lap(POINT + BARE)))
    prefixed = activity(lap(POINT + BARE)).replace("</", "\0").replace("<", "<g:")
    prefixed = prefixed.replace("<g:?", "<?").replace("\0", "</g:").replace("xmlns=", "xmlns:g=")
    same(plain, read(tmp_path, prefixed))
    same(plain, read(tmp_path, gzip.compress(prefixed.encode())))
    for encoding in ("utf-16", "utf-16-le", "utf-8-sig"):
        same(plain, read(tmp_path, activity(lap(POINT + BARE)).encode(encoding)))


def test_laps_are_marked_at_their_last_point(tmp_path: Path) -> None:
    pause = lap("", start="2025-05-04T10:00:02Z", inner="<TotalTimeSeconds>60.5</TotalTimeSeconds>")
    unknown = lap("", start="yesterday")
    second = 1_000_000_000
    start = 1_746_352_800 * second
    assert read(tmp_path, activity(lap(POINT + BARE), pause, unknown)).marks == (
        Mark(MarkKind.LAP, start + 1_750_000_000, start),
        Mark(MarkKind.LAP, start + 62_500_000_000, start + 2 * second),
        Mark(MarkKind.LAP, None, None),
    )


def test_times_follow_the_same_rules_as_in_gpx(tmp_path: Path) -> None:
    texts = ("2025-05-04T10:00:00", "", "soon", "2025-02-30T10:00:00Z", "9999-01-01T00:00:00Z")
    points = "".join(f"<Trackpoint><Time>{text}</Time></Trackpoint>" for text in texts)
    track = read(tmp_path, activity(lap(points)))
    np.testing.assert_array_equal(track.time_s, [0.0] + [np.nan] * 4)
    assert codes(track) == ["position-missing", "time-missing", "time-without-zone"]


def test_track_without_times(tmp_path: Path) -> None:
    point = POINT.replace("<Time>2025-05-04T12:00:00.25+02:00</Time>", "")
    track = read(tmp_path, activity(lap(point)))
    assert track.start_unix_ns is None
    assert np.isnan(track.time_s).all()


def test_of_values_given_twice_the_first_counts(tmp_path: Path) -> None:
    twice = POINT.replace("<Cadence>80</Cadence>", "<Cadence>80</Cadence><Cadence>70</Cadence>")
    elsewhere = twice.replace("<TPX>", "<TPX><Cadence>60</Cadence><Time>1999</Time>")
    same(read(tmp_path, activity(lap(POINT))), read(tmp_path, activity(lap(elsewhere))))


@pytest.mark.parametrize("noise", ["<!-- <Trackpoint> -->", "<![CDATA[<Time>]]>", "<?pi?>", "&lt;"])
def test_comments_and_the_like_are_passed_over(tmp_path: Path, noise: str) -> None:
    noisy = activity(lap(POINT + noise + BARE))
    same(read(tmp_path, activity(lap(POINT + BARE))), read(tmp_path, noisy))


def test_cut_short_anywhere_keeps_the_closed_points(tmp_path: Path) -> None:
    text = activity(lap("\n".join([POINT, BARE, POINT])))
    first_end = text.index("</Trackpoint>") + len("</Trackpoint>")
    for end in range(1, len(text) - len(TAIL), 7):
        closed = text[:end].count("</Trackpoint>")
        if end < first_end:
            line_of(tmp_path, text[:end])
        else:
            track = read(tmp_path, text[:end])
            assert len(track) == closed
            assert track.notes[0].code == "file-cut-short"
            assert track.notes[0].message.endswith(f"{closed} points saved")
    assert "found XML that is broken there" in line_of(tmp_path, text[: first_end - 20])


def test_what_is_no_recorded_track(tmp_path: Path) -> None:
    assert "found no track points" in line_of(tmp_path, activity(lap("")))
    gpx = gpx_text(timed_points(2))
    assert "ride.tcx: found XML whose root is <gpx>" in line_of(tmp_path, gpx)
    assert "found FIT data" in line_of(tmp_path, b"\x0e\x10\0\0\0\0\0\0.FIT\0\0")


def test_course_is_noted(tmp_path: Path) -> None:
    text = activity(POINT).replace("Activities", "Courses").replace("Activity", "Course")
    assert "planned-course" in codes(read(tmp_path, text))


def test_declared_entities_are_refused(tmp_path: Path) -> None:
    laughs = "".join(f'<!ENTITY l{i + 1} "&l{i};&l{i};">' for i in range(40))
    text = activity(lap(POINT)).replace(
        "<Training", f'<!DOCTYPE x [<!ENTITY l0 "ha">{laughs}]><Training', 1
    )
    expected = "found a document type that declares entities"
    assert expected in line_of(tmp_path, text)
    with pytest.raises(TrackError, match=expected):
        read_track(tmp_path / "ride.tcx")


def test_against_the_standard_library(tmp_path: Path) -> None:
    """The same numbers as xml.etree and datetime.fromisoformat give."""
    rng = random.Random(20250504)
    rows = [
        (
            f"2025-05-04T{rng.randrange(24):02d}:{rng.randrange(60):02d}:07.{rng.randrange(1000):03d}"
            + rng.choice(("Z", "+05:30", "-11:00")),
            *(repr(rng.uniform(-80.0, 80.0)) for _ in range(6)),
        )
        for _ in range(300)
    ]
    names = ("Time", "LatitudeDegrees", "LongitudeDegrees", "AltitudeMeters", "DistanceMeters")
    points = "".join(
        "<Trackpoint><Time>{}</Time><Position><LatitudeDegrees>{}</LatitudeDegrees>"
        "<LongitudeDegrees>{}</LongitudeDegrees></Position><AltitudeMeters>{}</AltitudeMeters>"
        "<DistanceMeters>{}</DistanceMeters><Extensions><x:TPX><x:Speed>{}</x:Speed>"
        "<x:Watts>{}</x:Watts></x:TPX></Extensions></Trackpoint>\n".format(*row)
        for row in rows
    )
    text = activity(lap(points)).replace("xmlns=", 'xmlns:x="http://example.org/x" xmlns=')
    track = read(tmp_path, text)
    found = {"Speed": track.speed_m_s, "Watts": track.rider_w}
    arrays = (track.latitude_deg, track.longitude_deg, track.elevation_m, track.odometer_m)
    found |= dict(zip(names[1:], arrays, strict=True))
    elements = list(ElementTree.fromstring(text).iter())
    for name, column in found.items():
        seen = [float(e.text or math.nan) for e in elements if e.tag.endswith(f"}}{name}")]
        np.testing.assert_array_equal(column, seen, err_msg=name)
    times = [datetime.fromisoformat(e.text or "") for e in elements if e.tag.endswith("}Time")]
    assert track.start_unix_ns == round(times[0].timestamp() * 1e3) * 10**6
    seconds = [(time - times[0]).total_seconds() for time in times]
    np.testing.assert_allclose(track.time_s, seconds, rtol=0.0, atol=1e-9)


def test_endless_laps_are_refused(tmp_path: Path) -> None:
    path = write(tmp_path, activity(lap(POINT), *["<Lap/>"] * 10))
    assert len(read_track(path).marks) == 11
    with pytest.raises(TrackError, match="more than 5 laps"):
        read_track(path, limits=Limits(max_points=5))
