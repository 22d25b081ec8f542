from __future__ import annotations

import gzip
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.ingest.builders import gpx_text, timed_points
from wherewatt.errors import SideFileError, TrackError
from wherewatt.ingest import log_table, read_track
from wherewatt.ingest.log import LOG_COLUMNS, read_pack_log
from wherewatt.ingest.recording import Recording, find_tracks, read_recording
from wherewatt.ingest.track import QUANTITIES, Track

HEADER = "time,latitude_deg,longitude_deg"
START_NS = 1_746_352_800_000_000_000
TIMES = [f"2025-05-04T10:00:{second:02d}Z" for second in range(60)]


def write(tmp_path: Path, text: str | bytes, name: str = "ride.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(tmp_path: Path, *lines: str, end: str = "\n") -> Track:
    return read_track(write(tmp_path, "\n".join(lines) + end))


def codes(track: Track) -> list[str]:
    return [note.code for note in track.notes]


def lines_of(path: Path) -> list[str]:
    with pytest.raises(TrackError) as caught:
        read_track(path)
    return str(caught.value).split("\n")


def problems(tmp_path: Path, *lines: str) -> list[str]:
    return lines_of(write(tmp_path, "\n".join(lines) + "\n"))


def same(one: Track, other: Track) -> None:
    for name, column in one.columns.items():
        np.testing.assert_array_equal(column, other.columns[name], err_msg=name)
    assert one.start_unix_ns == other.start_unix_ns
    assert one.notes == other.notes


def test_all_columns(tmp_path: Path) -> None:
    names = [name for name in LOG_COLUMNS if name not in SPELLINGS]
    cells = [f"{10 + at / 2}" for at in range(len(names))]
    track = read(tmp_path, ",".join(["time", *names]), ",".join([TIMES[0], *cells]), TIMES[2])
    assert {LOG_COLUMNS[name].name for name in names} == set(QUANTITIES)
    for name, cell in zip(names, cells, strict=True):
        expected = [float(cell), np.nan]
        np.testing.assert_array_equal(track.columns[LOG_COLUMNS[name].name], expected, err_msg=name)
    assert track.start_unix_ns == START_NS
    np.testing.assert_array_equal(track.time_s, [0.0, 2.0])
    assert track.stem == "ride"


# Definitions: international mile (1959) of 1609.344 m, hour of 3600 s.
SPELLINGS = {
    "distance_km": ("odometer_m", 1000.0),
    "distance_mi": ("odometer_m", 1609.344),
    "speed_kmh": ("speed_m_s", 1000.0 / 3600.0),
    "speed_mph": ("speed_m_s", 1609.344 / 3600.0),
}


@pytest.mark.parametrize("name", SPELLINGS)
def test_other_units_by_suffix(tmp_path: Path, name: str) -> None:
    quantity, factor = SPELLINGS[name]
    track = read(tmp_path, f"{HEADER},{name}", f"{TIMES[0]},46.5,7.5,12.5")
    np.testing.assert_allclose(track.columns[quantity], [12.5 * factor], rtol=1e-15)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace(",", ";"),
        lambda text: text.replace(",", "\t"),
        lambda text: text.replace(",", ";").replace("46.5", "46,5"),
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.replace(",", " , "),
        lambda text: "# a logger\n\n" + text.replace("\n", "\n# x\n\n"),
        lambda text: text.replace("46.5", '"46.5"'),
        lambda text: text.replace("time", "TIME"),
        lambda text: text.replace(",,", ",nan,"),
        lambda text: text + ",,,\n",
        lambda text: text.rstrip("\n"),
        lambda text: text.encode("utf-16"),
        lambda text: text.encode("utf-8-sig"),
        lambda text: gzip.compress(text.encode()),
    ],
)
def test_spelling_of_the_table_does_not_matter(
    tmp_path: Path, change: Callable[[str], str | bytes]
) -> None:
    text = f"{HEADER},battery_v\n{TIMES[0]},46.5,7.5,50.1\n{TIMES[1]},46.5,7.6,\n{TIMES[2]},,,51\n"
    plain = read_track(write(tmp_path, text))
    assert len(plain) == 3
    same(plain, read_track(write(tmp_path, change(text))))


def test_elapsed_time_has_no_clock(tmp_path: Path) -> None:
    header = "elapsed_s,latitude_deg,longitude_deg"
    track = read(tmp_path, header, ",46,7", "100.5,46,7", ",46,7", "101.75,46,7")
    assert track.start_unix_ns == 0
    np.testing.assert_array_equal(track.time_s, [np.nan, 0.0, np.nan, 1.25])
    assert codes(track) == ["clock-unknown", "time-missing"]


def test_times_follow_the_same_rules_as_in_gpx(tmp_path: Path) -> None:
    zoneless, empty, east = (
        "2025-05-04 10:00:00,46,7",
        ",46,7",
        "2025-05-04T12:00:00.0000000019+02:00",
    )
    track = read(tmp_path, HEADER, zoneless, empty, f"{east},46,7")
    assert track.start_unix_ns == START_NS
    np.testing.assert_array_equal(track.time_s, [0.0, np.nan, 1e-9])
    assert codes(track) == ["time-missing", "time-without-zone"]


def test_log_without_any_time(tmp_path: Path) -> None:
    track = read(tmp_path, HEADER, ",46,7", ",46,7.1")
    assert track.start_unix_ns is None
    assert np.isnan(track.time_s).all()


def test_distance_without_positions(tmp_path: Path) -> None:
    track = read(tmp_path, "elapsed_s,distance_km", "0,0", "60,0.25")
    np.testing.assert_array_equal(track.odometer_m, [0.0, 250.0])
    assert np.isnan(track.latitude_deg).all()
    assert "position-missing" in codes(track)


def test_unknown_columns_are_named(tmp_path: Path) -> None:
    track = read(tmp_path, f"{HEADER},latitud,mood", f"{TIMES[0]},46,7,20,fine; très bien")
    assert [note.message for note in track.notes] == [
        "columns not used: 'latitud' (did you mean 'latitude_deg'?), 'mood'"
    ]


def test_wrong_cells_are_named_by_line_and_column(tmp_path: Path) -> None:
    rows = (f"{TIMES[0]},46,7", "# x", f"{TIMES[1]},4b,7", "10 o'clock,46,inf", f"{TIMES[2]},1,2,3")
    assert problems(tmp_path, HEADER, *rows, f'{TIMES[2]},1,"2', f"{TIMES[2]},1_0,1e999") == [
        "ride.csv: line 4, column latitude_deg: found '4b', expected a number, or nothing",
        "ride.csv: line 5, column longitude_deg: found 'inf', expected a number, or nothing",
        "ride.csv: line 6: found 4 cells, expected at most 3, as in the header",
        f"ride.csv: line 7: found '{TIMES[2]},1,\"2', expected quotes in pairs",
        "ride.csv: line 8, column latitude_deg: found '1_0', expected a number, or nothing",
        "ride.csv: line 8, column longitude_deg: found '1e999', expected a number, or nothing",
    ]
    assert problems(tmp_path, HEADER, rows[0], "10 o'clock,46,7") == [
        "ride.csv: line 3, column time: found '10 o'clock', expected an ISO 8601 time, or nothing"
    ]
    assert len(problems(tmp_path, HEADER, *["x,y,z"] * 1000)) == 20


def test_wrong_headers(tmp_path: Path) -> None:
    expected = "expected a CSV log with a time and positions or distances"
    assert problems(tmp_path, "time,latitude_deg", "1,2") == [
        f"ride.csv: line 1: found columns 'time, latitude_deg', {expected}"
    ]
    assert problems(tmp_path, "# x", "time,latitude_deg,longitud_deg") == [
        f"ride.csv: line 2: found columns 'time, latitude_deg, longitud_deg', {expected}; "
        "'longitud_deg': did you mean 'longitude_deg'?"
    ]
    assert problems(tmp_path, f"{HEADER},elapsed_s,speed_mph,speed_kmh,time") == [
        "ride.csv: line 1: found columns time and elapsed_s, expected one of them",
        "ride.csv: line 1: found columns speed_mph and speed_kmh, expected one of them",
        "ride.csv: line 1: found columns elapsed_s and time, expected one of them",
    ]
    assert problems(tmp_path, HEADER) == [f"ride.csv: found a header and no rows, {expected}"]
    assert problems(tmp_path, "x" * 50_000)[0].startswith("ride.csv: found text that begins 'xxx")
    assert problems(tmp_path, "") == [f"ride.csv: found nothing but white space, {expected}"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("at,battery_pct\n1 km,90\n", "a file of call-outs"),
        ("from,to,surface\n0 km,1 km,gravel\n", "a file of surface tags"),
        ("time,battery_v,battery_a\n", "a pack log without positions or distances"),
    ],
)
def test_side_files_are_no_tracks(tmp_path: Path, text: str, found: str) -> None:
    (line,) = lines_of(write(tmp_path, text))
    assert line.startswith(f"ride.csv: found {found}, expected a CSV log")
    assert line.endswith("give the track that it lies beside")


def test_last_line_that_breaks_off_is_left_out(tmp_path: Path) -> None:
    whole = f"{TIMES[0]},46,7"
    for torn in (
        f"{TIMES[1]},46",
        TIMES[1][:12] + ",46,7",
        f"{TIMES[1]},46,-",
        f'{TIMES[1]},46,"7',
    ):
        track = read(tmp_path, HEADER, whole, torn, end="")
        assert len(track) == 1
        assert track.notes[0].code == "file-cut-short"
        assert track.notes[0].message == "the file breaks off within line 3: 1 row saved"
    assert len(read(tmp_path, HEADER, whole, f"{TIMES[1]},46,8", end="")) == 2


def test_zero_bytes_at_the_end_of_a_log(tmp_path: Path) -> None:
    """A logger that lost power leaves the space it had reserved."""
    track = read(tmp_path, HEADER, f"{TIMES[0]},46,7", f"{TIMES[1]},4", end="\0" * 5000)
    assert len(track) == 1
    assert codes(track) == ["file-cut-short"]


def test_content_decides_not_the_name(tmp_path: Path) -> None:
    text = f"{HEADER}\n{TIMES[0]},46,7\n"
    assert len(read_track(write(tmp_path, text, "ride.txt"))) == 1
    gpx = gpx_text(timed_points(3))
    assert len(read_track(write(tmp_path, gpx, "ride.csv"))) == 3


cells = st.one_of(
    st.floats(-1e6, 1e6).map(repr),
    st.decimals(-180, 180, places=6).map(str),
    st.sampled_from(["", " ", "nan", "-NaN", "+1.", ".5", "1e3", "1_0", "inf", "0x10", "x", "1 2"]),
    st.text("0123456789.-+eE _;\"'#,", max_size=6),
)
times = st.one_of(
    st.datetimes(min_value=datetime(1900, 1, 1)).map(lambda moment: moment.isoformat() + "Z"),
    st.sampled_from(["", "nan", "now", "NaT", "2025-05-04", "2025-05-04T10:00:60Z", TIMES[0] * 4]),
)
good = st.tuples(times, st.decimals(-80, 80, places=5).map(str), st.decimals(-9, 9).map(str))


@given(
    st.one_of(
        st.lists(st.tuples(times, cells, cells), max_size=6), st.lists(good, min_size=1, max_size=6)
    ),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", ""]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)
def test_both_ways_of_reading_give_the_same(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    rows: list[tuple[str, str, str]],
    delimiter: str,
    end: str,
) -> None:
    text = "\n".join(delimiter.join(row) for row in [HEADER.split(","), *rows]) + end
    path = write(tmp_path, text)
    with monkeypatch.context() as patch:
        patch.setattr(log_table, "_rows_at_once", lambda layout, block: None)
        slow = outcome(path)
    assert repr(outcome(path)) == repr(slow)


def outcome(path: Path) -> object:
    """What reading ends in, in a form that can be compared."""
    try:
        track = read_track(path)
    except TrackError as error:
        return str(error)
    values = [(name, column.tolist()) for name, column in track.columns.items()]
    return track.start_unix_ns, values, track.notes


def test_plain_logs_are_read_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_table, "_rows_one_by_one", None)
    header = f"{HEADER},battery_v,note"
    assert len(read(tmp_path, header, f"{TIMES[0]},46.5,,50.1,", f"{TIMES[1]},-46.5,7,,x")) == 2


def test_blocks_are_joined_and_lines_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [f"{TIMES[at % 60]},{at / 10},7" for at in range(500)]
    rows[100] = rows[300] = "# nothing"
    whole = read(tmp_path, HEADER, *rows)
    monkeypatch.setattr(log_table, "_BLOCK_CHARACTERS", 1000)
    same(whole, read(tmp_path, HEADER, *rows))
    rows[400] = "x,1,2"
    assert problems(tmp_path, HEADER, *rows)[0].startswith("ride.csv: line 402, column time")


def recording_of(path: Path) -> Recording:
    return read_recording(path, known_surfaces=("gravel",), vehicle_kinds={})


def test_pack_log_beside_a_track(tmp_path: Path) -> None:
    track = write(tmp_path, gpx_text(timed_points(3)), "ride.gpx.gz")
    assert recording_of(track).pack_log is None
    write(tmp_path, "elapsed_s;battery_v;battery_a\n5;50,5;2\n6;50;-1\n", "ride.log.csv")
    pack_log = recording_of(track).pack_log
    assert pack_log is not None
    np.testing.assert_array_equal(pack_log.battery_v, [50.5, 50.0])
    np.testing.assert_array_equal(pack_log.battery_a, [2.0, -1.0])
    np.testing.assert_array_equal(pack_log.time_s, [0.0, 1.0])
    assert "clock-unknown" in codes(pack_log)


def test_wrong_pack_log_is_reported_with_the_other_side_files(tmp_path: Path) -> None:
    track = write(tmp_path, gpx_text(timed_points(3)), "ride.gpx")
    path = write(tmp_path, "time,battery_v\n", "ride.log.csv")
    write(tmp_path, "at,battery_pct\n0 km,101\n", "ride.readings.csv")
    with pytest.raises(SideFileError) as caught:
        recording_of(track)
    first, second = str(caught.value).split("\n")
    assert first.startswith("ride.readings.csv: line 2")
    expected = "expected a CSV log with a time, battery_v and battery_a"
    assert second == f"ride.log.csv: line 1: found columns 'time, battery_v', {expected}"
    with pytest.raises(TrackError, match="battery_a"):
        read_pack_log(path)


def test_folders_give_logs_and_no_other_tables(tmp_path: Path) -> None:
    log = f"{HEADER}\n"
    for name in ("a.csv", "B.CSV", "c.tcx"):
        write(tmp_path, log, name)
    write(tmp_path, gzip.compress(log.encode()), "d.csv.gz")
    write(tmp_path, gzip.compress(b"x") + b"y", "e.csv.gz")
    write(tmp_path, b"\x1f\x8b\x08rubbish", "f.csv.gz")
    write(tmp_path, "at,battery_pct\n", "g.csv")
    write(tmp_path, "section,start_time,end_time\n", "sections.csv")
    for side in ("a.readings.csv", "a.surface.csv", "a.log.csv"):
        write(tmp_path, f"{HEADER},battery_v,battery_a\n", side)
    assert [path.name for path in find_tracks([tmp_path])] == [
        "B.CSV",
        "a.csv",
        "c.tcx",
        "d.csv.gz",
    ]
    odd = tmp_path / "g.csv"
    assert find_tracks([odd]) == (odd,)
