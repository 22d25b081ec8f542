from __future__ import annotations

import gzip
import hashlib
from pathlib import Path

import numpy as np
import pytest

from tests.ingest.builders import P, gpx_text, timed_points
from wherewatt.errors import TrackError
from wherewatt.ingest.gpx import read_gpx
from wherewatt.ingest.track import Track


def write(tmp_path: Path, text: str | bytes, name: str = "ride.gpx") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(tmp_path: Path, text: str | bytes) -> Track:
    return read_gpx(write(tmp_path, text))


def codes(track: Track) -> list[str]:
    return [note.code for note in track.notes]


def line_of(tmp_path: Path, text: str | bytes) -> str:
    with pytest.raises(TrackError) as caught:
        read(tmp_path, text)
    line = str(caught.value)
    assert "\n" not in line
    return line


def test_all_columns(tmp_path: Path) -> None:
    extensions = "<extensions><x:all><x:speed>4.5</x:speed></x:all><power>130</power></extensions>"
    inner = f"<ele>0.0</ele><time>2025-05-04T12:00:00.25+02:00</time>{extensions}"
    later = "<ele>1.5</ele><time>2025-05-04T10:00:01.75Z</time>"
    path = write(tmp_path, gpx_text([P("46.5", "-7.25", inner), P("46.6", "-7.5", later)]))
    track = read_gpx(path)
    assert track.start_unix_ns == 1_746_352_800_250_000_000
    np.testing.assert_array_equal(track.time_s, [0.0, 1.5])
    np.testing.assert_array_equal(track.latitude_deg, [46.5, 46.6])
    np.testing.assert_array_equal(track.longitude_deg, [-7.25, -7.5])
    np.testing.assert_array_equal(track.elevation_m, [0.0, 1.5])
    np.testing.assert_array_equal(track.speed_m_s, [4.5, np.nan])
    np.testing.assert_array_equal(track.rider_w, [130.0, np.nan])
    assert np.isnan(track.odometer_m).all()
    assert track.notes == ()
    assert track.source == path
    assert track.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert track.stem == "ride"


def test_speed_of_gpx_1_0_and_power_in_watts(tmp_path: Path) -> None:
    track = read(tmp_path, gpx_text([P("1", "2", "<speed>3.5</speed>")], version="1.0"))
    np.testing.assert_array_equal(track.speed_m_s, [3.5])
    power = "<extensions><x:PowerInWatts>0</x:PowerInWatts></extensions>"
    track = read(tmp_path, gpx_text([P("1", "2", power)]))
    np.testing.assert_array_equal(track.rider_w, [0.0])


def test_extensions_of_gpx_1_0_are_not_lost(tmp_path: Path) -> None:
    inner = "<extensions><speed>3.5</speed></extensions>"
    track = read(tmp_path, gpx_text([P("1", "2", inner)], version="1.0"))
    np.testing.assert_array_equal(track.speed_m_s, [3.5])


def test_segments_and_tracks_follow_each_other(tmp_path: Path) -> None:
    text = gpx_text([P("1", "1"), P("2", "2"), P("3", "3")])
    text = text.replace('<trkpt lat="2', '</trkseg><trkseg/><trkseg><trkpt lat="2')
    text = text.replace('<trkpt lat="3', '</trkseg></trk><trk><trkseg><trkpt lat="3')
    np.testing.assert_array_equal(read(tmp_path, text).latitude_deg, [1.0, 2.0, 3.0])


def test_gzip_whatever_the_name(tmp_path: Path) -> None:
    data = gzip.compress(gpx_text(timed_points(5)).encode())
    for name in ("ride.gpx.gz", "ride.gpx"):
        track = read_gpx(write(tmp_path, data, name))
        assert len(track) == 5
        assert track.sha256 == hashlib.sha256(data).hexdigest()
        assert track.stem == "ride"


def test_gzip_cut_short_is_salvaged(tmp_path: Path) -> None:
    # level 0 stores: the cut in the gzip file is the same cut in the GPX file
    data = gzip.compress(gpx_text(timed_points(50)).encode(), compresslevel=0)
    track = read(tmp_path, data[: len(data) // 2])
    assert 15 < len(track) < 30
    assert codes(track) == ["file-cut-short", "file-cut-short"]


def test_missing_and_unreadable_times(tmp_path: Path) -> None:
    times = ("", "<time>soon</time>", "<time>2025-05-04T10:00:00Z</time>", "<time/>")
    track = read(tmp_path, gpx_text([P("1", "2", time) for time in times]))
    np.testing.assert_array_equal(track.time_s, [np.nan, np.nan, 0.0, np.nan])
    assert [(n.code, n.message.split(" have")[0]) for n in track.notes] == [
        ("time-missing", "3 of 4 points")
    ]


@pytest.mark.parametrize("time", ["9999-99-99T00:00:00Z", "2025-05-04T10:00:00+99:00"])
@pytest.mark.parametrize("prefix", ["", "g"])
def test_impossible_times_are_missing(tmp_path: Path, time: str, prefix: str) -> None:
    p = f"{prefix}:" if prefix else ""
    text = gpx_text([P("1", "2", f"<{p}time>{time}</{p}time>")], prefix=prefix)
    track = read(tmp_path, text)
    assert track.start_unix_ns is None
    assert codes(track) == ["time-missing"]


def test_time_beyond_64_bit_nanoseconds_is_missing(tmp_path: Path) -> None:
    track = read(tmp_path, gpx_text([P("1", "2", "<time>0001-01-01T00:00:00Z</time>")]))
    assert track.start_unix_ns is None


def test_time_without_zone_is_taken_as_utc(tmp_path: Path) -> None:
    track = read(tmp_path, gpx_text([P("1", "2", "<time>2025-05-04T10:00:00</time>")]))
    assert track.start_unix_ns == 1_746_352_800_000_000_000
    assert codes(track) == ["time-without-zone"]


@pytest.mark.parametrize(
    ("lat", "lon", "code"),
    [
        ("90.1", "0", "position-illegal"),
        ("0", "-180.5", "position-illegal"),
        ("inf", "0", "position-illegal"),
        ("NaN", "0", "position-missing"),
        ("53.3x85", "0", "position-missing"),
    ],
)
def test_bad_position_drops_both_coordinates(tmp_path: Path, lat: str, lon: str, code: str) -> None:
    track = read(tmp_path, gpx_text([P(lat, lon), P("-90", "180")]))
    np.testing.assert_array_equal(track.latitude_deg, [np.nan, -90.0])
    np.testing.assert_array_equal(track.longitude_deg, [np.nan, 180.0])
    assert track.notes[0].code == code
    assert track.notes[0].message.startswith("1 of 2 points")


def test_bad_elevation_is_missing(tmp_path: Path) -> None:
    inner = [f"<ele>{text}</ele>" for text in ("", "high", "inf", "-5.5")]
    track = read(tmp_path, gpx_text([P("1", "2", ele) for ele in inner]))
    np.testing.assert_array_equal(track.elevation_m, [np.nan, np.nan, np.nan, -5.5])


def same_points(left: Track, right: Track) -> bool:
    pairs = zip(left.columns.values(), right.columns.values(), strict=True)
    return left.start_unix_ns == right.start_unix_ns and all(
        np.array_equal(a, b, equal_nan=True) for a, b in pairs
    )


def test_prefixed_namespace_gives_the_same_points(tmp_path: Path) -> None:
    inner = (
        "<{0}ele>5.5</{0}ele><{0}time>2025-05-04T10:00:00.5Z</{0}time><{0}extensions>"
        "<x:a><x:speed> 4 </x:speed></x:a><power>9</power></{0}extensions>"
    )
    plain = read(tmp_path, gpx_text([P("1", "2", inner.format(""))]))
    prefixed = read(tmp_path, gpx_text([P("1", "2", inner.format("g:"))], prefix="g"))
    assert same_points(plain, prefixed)
    assert prefixed.notes == ()


def test_repeated_namespace_loses_nothing(tmp_path: Path) -> None:
    text = gpx_text(timed_points(3)).replace("<trkseg>", '<trkseg xmlns="http://other.example/x">')
    assert len(read(tmp_path, text)) == 3


def test_track_point_in_a_comment_is_no_point(tmp_path: Path) -> None:
    text = gpx_text(timed_points(3)).replace(
        "<trkseg>", '<trkseg><!-- <trkpt lat="1" lon="2"/> -->'
    )
    assert len(read(tmp_path, text)) == 3


def test_file_cut_short_keeps_what_is_whole(tmp_path: Path) -> None:
    text = gpx_text(timed_points(10))
    cut = text[: text.index("10:00:06")]
    track = read(tmp_path, cut)
    assert len(track) == 6
    assert codes(track) == ["file-cut-short"]
    line = cut.count("\n") + 1
    assert f"beyond line {line} " in track.notes[0].message
    assert track.notes[0].message.endswith("6 points saved")
    assert same_points(track, read(tmp_path, gpx_text(timed_points(6))))


def test_zero_bytes_after_a_power_failure(tmp_path: Path) -> None:
    text = gpx_text(timed_points(10))
    track = read(tmp_path, text[: text.index("10:00:06")].encode() + bytes(4096))
    assert len(track) == 6
    assert codes(track) == ["file-cut-short"]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig"])
@pytest.mark.parametrize("declared", ["UTF-16", "utf-8", ""])
def test_byte_order_marks_and_wide_text(tmp_path: Path, encoding: str, declared: str) -> None:
    declaration = f'<?xml version="1.0" encoding="{declared}"?>' if declared else ""
    text = gpx_text(timed_points(4), declaration=declaration).lstrip()
    track = read(tmp_path, text.encode(encoding))
    assert len(track) == 4
    assert track.notes == ()


def test_declared_encoding(tmp_path: Path) -> None:
    declaration = '<?xml version="1.0" encoding="iso-8859-1"?>'
    text = gpx_text(timed_points(2), declaration=declaration)
    text = text.replace("<trk>", "<trk><name>Höhenweg</name>")
    assert read(tmp_path, text.encode("latin-1")).notes == ()


@pytest.mark.parametrize("declared", ["utf-8", "utf-16", "rot13", "no-such-encoding"])
def test_wrong_encoding_costs_only_names(tmp_path: Path, declared: str) -> None:
    declaration = f'<?xml version="1.0" encoding="{declared}"?>'
    text = gpx_text(timed_points(2), declaration=declaration)
    text = text.replace("<trk>", "<trk><name>Höhenweg</name>")
    track = read(tmp_path, text.encode("latin-1"))
    assert len(track) == 2
    assert codes(track) == ["text-encoding"]


def test_planned_route(tmp_path: Path) -> None:
    text = '<gpx version="1.1"><rte><rtept lat="1" lon="2"/><rtept lat="1" lon="3"/></rte></gpx>'
    line = line_of(tmp_path, text)
    assert "found a planned route of 2 points, with no times and no recording" in line


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "found an empty file"),
        (bytes(100), "found only zero bytes"),
        (" \n ", "found nothing but white space"),
        ('{"a": 1}', "found JSON"),
        ("at,battery_pct\n", "found text that begins 'at,battery_pct'"),
        (b"\x89PNG\x00\xff\xfe", "found unknown binary data"),
        ("<!DOCTYPE html><html><body><p>Log in</body></html>", "found an HTML page"),
        ("<html><body>", "found an HTML page"),
        ('<kml xmlns="http://example.org">', "found XML whose root is <kml>"),
        ("<gpx/>", "found no track points"),
        ('<gpx><wpt lat="1" lon="2"/></gpx>', "found no track points"),
        ("<gpx>\n<trk><name>A & B</name>", "line 2: found XML that is broken there"),
        ("<", "line 1: found XML that is broken there"),
        (b"\x0e\x10\x00\x00\x00\x00\x00\x00.FIT\x00\x00", "found FIT data"),
        (b"\x1f\x8b\x08", "found gzip data that cannot be inflated"),
    ],
)
def test_what_is_no_recorded_track(tmp_path: Path, text: str | bytes, found: str) -> None:
    line = line_of(tmp_path, text)
    assert line.startswith(f"ride.gpx: {found}")
    assert "expected a" in line


def test_line_numbers_count_the_declaration(tmp_path: Path) -> None:
    text = '<?xml version="1.0"\n?>\n<gpx>\n<trk>&</trk>'
    assert "line 4:" in line_of(tmp_path, text)


@pytest.mark.parametrize(
    "declaration",
    [
        '<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">',
        '<!ENTITY a SYSTEM "file:///etc/passwd">',
        '<!ENTITY % a SYSTEM "http://example.org/a.dtd"> %a;',
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused(tmp_path: Path, declaration: str, encoding: str) -> None:
    text = f"<!-- x --><!DOCTYPE gpx [{declaration}]>" + gpx_text(timed_points(2), declaration="")
    assert "found a document type that declares entities" in line_of(
        tmp_path, text.encode(encoding)
    )


def test_document_type_without_entities_is_harmless(tmp_path: Path) -> None:
    text = '<!DOCTYPE gpx SYSTEM "http://example.org/gpx.dtd">' + gpx_text(
        timed_points(2), declaration=""
    )
    assert len(read(tmp_path, text)) == 2


def test_plain_speed_in_gpx_1_1_is_kept(tmp_path: Path) -> None:
    points = [P("1", "2", "<speed>3.5</speed>")] * 3
    for damage in ("", "<!-- read slowly: <x> -->"):
        text = gpx_text(points).replace("<trkseg>", f"<trkseg>{damage}")
        np.testing.assert_array_equal(read(tmp_path, text).speed_m_s, [3.5] * 3)


@pytest.mark.parametrize(
    ("name", "column"),
    [
        ("speed", "speed_m_s"),
        ("power", "rider_w"),
        ("PowerInWatts", "rider_w"),
        ("cad", "cadence_rpm"),
        ("cadence", "cadence_rpm"),
        ("atemp", "temperature_c"),
        ("temp", "temperature_c"),
        ("Temperature", "temperature_c"),
        ("distance", "odometer_m"),
    ],
)
@pytest.mark.parametrize("prefix", ["", "x:", "gpxtpx:"])
@pytest.mark.parametrize("cut", [0, 10])  # cut short: the slow reader
def test_quantities_by_local_name(
    tmp_path: Path, name: str, column: str, prefix: str, cut: int
) -> None:
    inner = f"<extensions><y:all><{prefix}{name}>7.5</{prefix}{name}></y:all></extensions>"
    text = gpx_text([P("1", "2", inner)] * 20)
    track = read(tmp_path, text[: len(text) - cut])
    np.testing.assert_array_equal(track.columns[column], [7.5] * 20)
    others = set(track.columns) - {column, "latitude_deg", "longitude_deg"}
    assert all(np.isnan(track.columns[other]).all() for other in others)


@pytest.mark.parametrize("cut", [0, 10])  # cut short: the slow reader
@pytest.mark.parametrize(
    ("time", "nanoseconds"),
    [
        ("2025-05-04T10:00:00.123456789Z", 123_456_789),
        ("2025-05-04T10:00:00.1234567899Z", 123_456_789),
        ("2025-05-04T12:00:00.5+02:00", 500_000_000),
        ("2025-05-04T04:30:00-05:30", 0),
        (" 2025-05-04T10:00:00Z\n", 0),
    ],
)
def test_times_to_the_nanosecond(tmp_path: Path, cut: int, time: str, nanoseconds: int) -> None:
    text = gpx_text([P("1", "2", f"<time>{time}</time>")] * 20)
    track = read(tmp_path, text[: len(text) - cut])
    assert track.start_unix_ns == 1_746_352_800_000_000_000 + nanoseconds


def test_letters_beyond_ascii_cost_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wherewatt.ingest.gpx.salvage", None)  # the slow reader is not needed
    text = gpx_text(timed_points(20)).replace("<trk>", "<trk><name>Höhenweg \U0001f6b2</name>")
    for encoding in ("utf-8", "utf-8-sig", "utf-16"):
        assert len(read(tmp_path, text.encode(encoding))) == 20


def test_elements_too_deep_are_refused(tmp_path: Path) -> None:
    text = gpx_text([P("1", "2", "<a>" * 200 + "</a>" * 200)])
    assert "found more than 100 elements within each other" in line_of(tmp_path, text)
