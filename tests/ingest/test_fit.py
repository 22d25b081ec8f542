from __future__ import annotations

import gzip
import struct
from pathlib import Path

import numpy as np
import pytest

from tests.ingest.builders import (
    FIT_COURSE,
    FIT_EPOCH_UNIX_S,
    FIT_SETTINGS,
    INVALID_I32,
    INVALID_U16,
    INVALID_U32,
    RECORD_FIELDS,
    Field,
    definition,
    file_id,
    fit_bytes,
    fit_part,
    fit_rows,
    message,
    records,
    semicircles,
)
from wherewatt.errors import TrackError
from wherewatt.ingest.fit import read_fit
from wherewatt.ingest.track import Track

ACTIVITY = file_id(4)


def write(tmp_path: Path, data: bytes, name: str = "ride.fit") -> Path:
    path = tmp_path / name
    path.write_bytes(data)
    return path


def read(tmp_path: Path, data: bytes) -> Track:
    return read_fit(write(tmp_path, data))


def codes(track: Track) -> list[str]:
    return [note.code for note in track.notes]


def line_of(tmp_path: Path, data: bytes) -> str:
    with pytest.raises(TrackError) as caught:
        read(tmp_path, data)
    line = str(caught.value)
    assert "\n" not in line
    return line


@pytest.mark.parametrize("big_endian", [False, True])
def test_all_columns(tmp_path: Path, big_endian: bool) -> None:
    track = read(tmp_path, fit_bytes(5, big_endian=big_endian))
    assert track.start_unix_ns == (FIT_EPOCH_UNIX_S + 1_115_000_000) * 10**9
    i = np.arange(5)
    np.testing.assert_array_equal(track.time_s, i)
    half_a_semicircle = 90.0 / 2**31
    np.testing.assert_allclose(track.latitude_deg, 46.0 + i * 1e-5, atol=half_a_semicircle)
    np.testing.assert_allclose(track.longitude_deg, 7.0 + i * 2e-5, atol=half_a_semicircle)
    np.testing.assert_allclose(track.elevation_m, 400.0 + i / 5, rtol=1e-12)
    np.testing.assert_allclose(track.odometer_m, 5.0 * i, rtol=1e-12)
    np.testing.assert_array_equal(track.speed_m_s, np.full(5, 5.0))
    np.testing.assert_array_equal(track.rider_w, np.full(5, 120.0))
    assert track.notes == ()


def test_gzip(tmp_path: Path) -> None:
    path = write(tmp_path, gzip.compress(fit_bytes(5)), "ride.fit.gz")
    assert len(read_fit(path)) == 5


def test_invalid_values_are_missing_and_zero_is_a_value(tmp_path: Path) -> None:
    invalid = (INVALID_U32, INVALID_I32, INVALID_I32, INVALID_U16, INVALID_U32) + 2 * (INVALID_U16,)
    zero = (1_115_000_000, 0, 0, 2500, 0, 0, 0)
    track = read(tmp_path, fit_part(ACTIVITY + records([invalid, zero])))
    recorded = (
        "latitude_deg",
        "longitude_deg",
        "elevation_m",
        "speed_m_s",
        "odometer_m",
        "rider_w",
    )
    for name in ("time_s", *recorded):
        np.testing.assert_array_equal(track.columns[name], [np.nan, 0.0], err_msg=name)
    assert codes(track) == ["position-missing", "time-missing"]


def test_position_beyond_the_pole_is_dropped(tmp_path: Path) -> None:
    row = (1_115_000_000, semicircles(91.0), semicircles(7.0), 2500, 0, 0, 0)
    track = read(tmp_path, fit_part(ACTIVITY + records([row])))
    assert np.isnan(track.latitude_deg[0])
    assert np.isnan(track.longitude_deg[0])
    assert codes(track) == ["position-illegal"]


def test_enhanced_fields_go_before_plain_ones(tmp_path: Path) -> None:
    fields = (
        Field(253, 4, 0x86, "I"),
        Field(78, 4, 0x86, "I"),
        Field(73, 4, 0x86, "I"),
        Field(2, 2, 0x84, "H"),
        Field(6, 2, 0x84, "H"),
    )
    row = (1_115_000_000, (6000 + 500) * 5, 70_000, INVALID_U16, INVALID_U16)
    body = definition(1, 20, fields, big_endian=False) + message(1, fields, row, big_endian=False)
    track = read(tmp_path, fit_part(ACTIVITY + body))
    np.testing.assert_allclose(track.elevation_m, [6000.0])
    np.testing.assert_allclose(track.speed_m_s, [70.0])


def test_compressed_timestamps_roll_over(tmp_path: Path) -> None:
    fields = RECORD_FIELDS[1:3]
    position = (semicircles(46.0), semicircles(7.0))
    start_s = 1_115_000_024  # its low five bits are 24
    full = records(fit_rows(1, start_s=start_s))
    offsets = [28, 31, 2, 2, 1]  # + 4, + 7, then past the roll-over, the same, a whole turn
    compressed = definition(2, 20, fields, big_endian=False) + b"".join(
        bytes((0x80 | 2 << 5 | offset,)) + struct.pack("<2i", *position) for offset in offsets
    )
    track = read(tmp_path, fit_part(ACTIVITY + full + compressed))
    assert start_s % 32 == 24
    np.testing.assert_array_equal(track.time_s, [0, 4, 7, 10, 10, 41])


def test_chained_activities_follow_each_other(tmp_path: Path) -> None:
    second = fit_part(ACTIVITY + records(fit_rows(3, start_s=1_115_000_100)), header_size=12)
    track = read(tmp_path, fit_bytes(5) + second)
    np.testing.assert_array_equal(track.time_s, [0, 1, 2, 3, 4, 100, 101, 102])
    assert track.notes == ()


def test_developer_field_of_a_standard_name_is_left_alone(tmp_path: Path) -> None:
    index, number, base = Field(0, 1, 0x02, "B"), Field(1, 1, 0x02, "B"), Field(2, 1, 0x02, "B")
    told = (index, number, base, Field(3, 6, 0x07, "6s"))  # field_description
    who = (Field(3, 1, 0x02, "B"),)  # developer_data_id
    body = definition(3, 207, who, big_endian=False) + bytes((3, 0))
    body += definition(3, 206, told, big_endian=False)
    body += bytes((3,)) + struct.pack("<3B6s", 0, 0, 0x84, b"power\x00")
    body += bytes((0x40 | 0x20 | 1, 0, 0)) + struct.pack("<HB", 20, 1) + bytes((253, 4, 0x86))
    body += bytes((1, 0, 2, 0)) + bytes((1,)) + struct.pack("<IH", 1_115_000_000, 999)
    track = read(tmp_path, fit_part(ACTIVITY + body))
    assert track.notes[0].code == "position-missing"
    np.testing.assert_array_equal(track.rider_w, [np.nan])


def test_wrong_checksum_is_noted(tmp_path: Path) -> None:
    data = bytearray(fit_bytes(5))
    data[-1] ^= 0xFF
    track = read(tmp_path, bytes(data))
    assert len(track) == 5
    assert [note.message for note in track.notes] == ["1 of 1 checksums do not match"]
    assert codes(track) == ["checksum-wrong"]


def test_file_cut_short_keeps_what_is_whole(tmp_path: Path) -> None:
    data = fit_bytes(10)
    record_bytes = 1 + sum(field.size for field in RECORD_FIELDS)
    track = read(tmp_path, data[: -2 - 3 * record_bytes - 5])
    assert len(track) == 6
    end_byte = len(data) - 2 - 4 * record_bytes
    assert [(note.code, note.message) for note in track.notes] == [
        ("file-cut-short", f"the file breaks off after byte {end_byte}: 6 records saved")
    ]


def test_trailing_bytes_are_noted(tmp_path: Path) -> None:
    data = fit_bytes(5)
    track = read(tmp_path, data + bytes(64))
    assert len(track) == 5
    assert [(note.code, note.message) for note in track.notes] == [
        ("trailing-bytes", f"what follows byte {len(data)} is no FIT data: 5 records saved")
    ]


def test_undefined_message_ends_the_reading(tmp_path: Path) -> None:
    body = ACTIVITY + records(fit_rows(4)) + b"\x0f" + records(fit_rows(3))
    track = read(tmp_path, fit_part(body))
    assert len(track) == 4
    assert codes(track) == ["file-damaged"]


@pytest.mark.parametrize("checksum", [True, False])
def test_recording_that_was_never_ended(tmp_path: Path, checksum: bool) -> None:
    data = fit_part(ACTIVITY + records(fit_rows(7)), data_size=0)
    track = read(tmp_path, data if checksum else data[:-2])
    assert len(track) == 7
    assert "file-not-closed" in codes(track)


def test_clock_that_was_never_set(tmp_path: Path) -> None:
    track = read(tmp_path, fit_part(ACTIVITY + records(fit_rows(3, start_s=1000))))
    np.testing.assert_array_equal(track.time_s, [0, 1, 2])
    assert codes(track) == ["clock-not-set"]


def test_times_before_the_clock_was_set_are_dropped(tmp_path: Path) -> None:
    rows = fit_rows(2, start_s=1000) + fit_rows(2)
    track = read(tmp_path, fit_part(ACTIVITY + records(rows)))
    np.testing.assert_array_equal(track.time_s, [np.nan, np.nan, 0, 1])
    assert codes(track) == ["clock-not-set", "time-missing"]
    assert track.notes[0].message.startswith("2 of 4 points")


def test_course_is_noted(tmp_path: Path) -> None:
    assert codes(read(tmp_path, fit_bytes(3, kind=FIT_COURSE))) == ["planned-course"]


def test_settings_file(tmp_path: Path) -> None:
    assert line_of(tmp_path, fit_part(file_id(FIT_SETTINGS))) == (
        "ride.fit: found a FIT file of type settings without records, "
        "expected an activity with records"
    )


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (fit_part(b""), "found a FIT file without records"),
        (fit_bytes(5)[:30], "byte 25: found FIT data that are damaged or end there"),
        (fit_bytes(5)[:12], "byte 0: found FIT data that are damaged or end there"),
        (b"\xff" * 8 + b".FIT" + b"\xff" * 300, "byte 0: found FIT data that are damaged"),
        (b"just some text", "found text that begins 'just some text'"),
        (b"", "found an empty file"),
    ],
)
def test_what_is_no_activity(tmp_path: Path, data: bytes, found: str) -> None:
    line = line_of(tmp_path, data)
    assert line.startswith(f"ride.fit: {found}")
    assert "an activity with records" in line
