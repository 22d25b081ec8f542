"""Reading a FIT file at once gives what fitdecode gives message by message."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.ingest.builders import file_id, fit_bytes, fit_part, fit_rows, records
from tests.ingest.fit_builder import EVENT, RECORD, Builder, Told, random_fit
from tests.ingest.fit_compare import assert_no_less, assert_same
from tests.support.mutate import mutate
from wherewatt.errors import TrackError
from wherewatt.ingest.fit import parse_fit
from wherewatt.ingest.fit_contents import MAX_DEVELOPER_FIELDS, Contents, End
from wherewatt.ingest.fit_gather import read_at_once
from wherewatt.ingest.fit_stepwise import read_stepwise
from wherewatt.ingest.source import DEFAULT_LIMITS, Source

START_S = 1_115_000_000
TIME, EIGHT_BIT, SIXTEEN_BIT = 0x86, 0x02, 0x84


def source(data: bytes) -> Source:
    return Source(Path("ride.fit"), "", data)


def compare(data: bytes) -> Contents:
    """Both readings of a file that is read at once."""
    ours = read_at_once(source(data))
    assert ours is not None
    assert_same(ours, read_stepwise(source(data)))
    return ours


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32))
def test_random_files_of_usual_types(seed: int) -> None:
    contents = compare(random_fit(random.Random(seed), usual=True))
    assert contents.condition.end is End.WHOLE


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32))
def test_random_files_of_any_types(seed: int) -> None:
    data = random_fit(random.Random(seed), usual=False)
    ours = read_at_once(source(data))
    if ours is None:
        return
    theirs = read_stepwise(source(data))
    if theirs.condition.end is End.DAMAGED:
        assert_no_less(ours, theirs)
    else:
        assert_same(ours, theirs)


DEFINITION_OF_RECORDS = b"\x40\x00\x00\x14\x00\x01"
TOKENS = (b".FIT", DEFINITION_OF_RECORDS, b"\x60" + DEFINITION_OF_RECORDS[1:], b"\xfd\x04\x86")


@pytest.mark.parametrize("block", range(8))
def test_damaged_files(block: int) -> None:
    for seed in range(block * 40, block * 40 + 40):
        whole = random_fit(random.Random(seed), usual=True)
        data = mutate(whole[: 40 + seed * 37 % len(whole)], seed, tokens=TOKENS)
        if len(data) < 12:
            continue
        ours = read_at_once(source(data))
        theirs = read_stepwise(source(data))
        if ours is not None and theirs.condition.end is End.DAMAGED:
            assert_no_less(ours, theirs)
        elif ours is not None:
            assert_same(ours, theirs)


def test_files_cut_at_every_byte() -> None:
    data = fit_bytes(6) + fit_part(file_id(4) + records(fit_rows(4), big_endian=True))
    for end in range(12, len(data)):
        compare(data[:end])


@pytest.mark.parametrize("order", ["<", ">"])
def test_interleaved_messages(order: str) -> None:
    build = Builder()
    build.define(0, RECORD, [Told(253, 4, TIME), Told(7, 2, SIXTEEN_BIT)], order=order)
    build.define(1, EVENT, [Told(253, 4, TIME), Told(0, 1, 0), Told(1, 1, 0)], order=order)
    for i in range(500):
        build.packed(0, "IH", START_S + i, i)
        build.packed(1, "IBB", START_S + i, 38, 3)
        if i % 100 == 50:  # breaks the cycle
            build.packed(1, "IBB", START_S + i, 0, 4)
    contents = compare(build.file())
    np.testing.assert_array_equal(contents.points.values["rider_w"], np.arange(500.0))
    assert len(contents.marks) == 5


def test_local_number_defined_anew_and_shared_cycles() -> None:
    build = Builder()
    for turn in range(4):
        number, letters = ((7, "IH"), (4, "IB"))[turn % 2]
        kind = SIXTEEN_BIT if turn % 2 == 0 else EIGHT_BIT
        build.define(2, RECORD, [Told(253, 4, TIME), Told(number, 2 - turn % 2, kind)])
        for i in range(100):
            build.packed(2, letters, START_S + 100 * turn + i, i)
    contents = compare(build.file())
    assert contents.points.unix_ns[-1] - contents.points.unix_ns[0] == 399 * 10**9
    np.testing.assert_array_equal(contents.points.values["rider_w"][200:300], np.arange(100.0))
    np.testing.assert_array_equal(contents.points.values["cadence_rpm"][300:], np.arange(100.0))


def test_compressed_times_beside_other_messages() -> None:
    build = Builder()
    build.define(0, RECORD, [Told(7, 2, SIXTEEN_BIT)])
    build.define(1, 23, [Told(253, 4, TIME)])
    build.packed(0, "H", 1, offset_s=9)  # nothing before it: counted from zero
    build.packed(1, "I", START_S)  # a message of no interest sets the time
    for second in range(1, 70, 7):
        build.packed(0, "H", 100, offset_s=START_S + second)
    build.packed(0, "H", 1)  # no time at all
    seconds = compare(build.file()).points.unix_ns // 10**9 - 631_065_600
    assert seconds[0] == 9
    np.testing.assert_array_equal(seconds[1:-1], START_S + np.arange(1, 70, 7))


def test_speed_and_distance_packed_in_one_field() -> None:
    build = Builder()
    build.define(0, RECORD, [Told(253, 4, TIME), Told(8, 3, 0x0D)])
    for i, (speed, way) in enumerate([(550, 4000), (0, 4090), (4095, 10), (100, 10)]):
        packed = (speed | way << 12).to_bytes(3, "little")
        build.packed(0, "I3s", START_S + i, packed)
    build.packed(0, "I3s", START_S + 9, b"\xff\xff\xff")
    values = compare(build.file()).points.values
    np.testing.assert_array_equal(values["speed_m_s"], [5.5, 0.0, 40.95, 1.0, np.nan])
    np.testing.assert_array_equal(
        values["odometer_m"], [250.0, 4090 / 16, 4106 / 16, 4106 / 16, np.nan]
    )


def test_developer_fields() -> None:
    build = Builder()
    build.describe(0, 0x84, b"volts", scale=100)
    build.describe(1, 0x01, b"degrees", scale=2, offset=10)
    build.describe(2, 0x07, b"words")
    told = [Told(0, 4, 0), Told(1, 1, 0), Told(2, 5, 0), Told(9, 2, 0)]
    build.define(0, RECORD, [Told(253, 4, TIME)], told)
    for i, (volts, degrees) in enumerate([(5150, 50), (0xFFFF, 0x7F), (0, -20)]):
        build.packed(0, "IHHb5s2s", START_S + i, volts, 7, degrees, b"hello", b"??")
    developer = compare(build.file()).points.developer
    assert list(developer) == ["volts", "degrees"]
    np.testing.assert_array_equal(developer["volts"], [51.5, np.nan, 0.0])  # first of an array
    np.testing.assert_array_equal(developer["degrees"], [15.0, np.nan, -20.0])


def test_too_many_developer_fields() -> None:
    build = Builder()
    for i in range(MAX_DEVELOPER_FIELDS + 3):
        build.describe(0, EIGHT_BIT, b"name %d" % i)
        build.define(0, RECORD, [], [Told(0, 1, 0)])
        build.data(0, bytes((i,)))
    contents = compare(build.file())
    assert len(contents.points.developer) == MAX_DEVELOPER_FIELDS
    assert contents.developer_fields_left_out == 3
    codes = [note.code for note in parse_fit(source(build.file())).notes]
    assert "developer-fields-left-out" in codes


def test_chained_files_start_anew() -> None:
    build = Builder()
    build.describe(0, EIGHT_BIT, b"load")
    build.define(0, RECORD, [Told(253, 4, TIME)], [Told(0, 1, 0)])
    build.packed(0, "IB", START_S, 3)
    later = Builder()
    later.define(0, RECORD, [], [Told(0, 1, 0)])  # nobody said what it is
    later.data(0, b"\x05", offset_s=4)
    contents = compare(build.file() + later.file(header_size=12))
    np.testing.assert_array_equal(contents.points.developer["load"], [3.0, np.nan])
    assert contents.points.unix_ns[1] == (631_065_600 + 4) * 10**9  # no time to count from
    undefined = fit_part(records(fit_rows(3))) + fit_part(b"\x01" + bytes(22))
    assert compare(undefined).condition.end is End.DAMAGED


@pytest.mark.parametrize(
    "field",
    [
        Told(253, 4, 0x85),
        Told(253, 8, TIME),
        Told(2, 4, 0x88),
        Told(6, 4, SIXTEEN_BIT),
        Told(8, 6, 0x0D),
    ],
)
def test_unusual_types_are_left_to_fitdecode(field: Told) -> None:
    build = Builder()
    build.define(0, RECORD, [field, Told(7, 2, SIXTEEN_BIT)])
    build.data(0, bytes(field.size) + b"\x0a\x00")
    assert read_at_once(source(build.file())) is None
    np.testing.assert_array_equal(parse_fit(source(build.file())).rider_w, [10.0])


def test_signalling_nan_is_missing() -> None:
    build = Builder()
    build.define(0, RECORD, [Told(7, 4, 0x88), Told(5, 8, 0x89)])
    build.data(0, b"\x01\x00\x80\x7f" + b"\x01\x00\x00\x00\x00\x00\xf0\x7f")
    build.packed(0, "fd", 7.5, 100.0)
    values = compare(build.file()).points.values
    np.testing.assert_array_equal(values["rider_w"], [np.nan, 7.5])
    np.testing.assert_array_equal(values["odometer_m"], [np.nan, 1.0])


def test_fields_of_no_size_and_messages_of_one_byte() -> None:
    build = Builder()
    build.define(0, RECORD, [])
    for _ in range(200):
        build.data(0, b"")
    assert len(compare(build.file()).points) == 200
    build.define(1, RECORD, [Told(7, 0, SIXTEEN_BIT), Told(4, 1, EIGHT_BIT)])
    build.data(1, b"\x50")  # fitdecode gives up here
    contents = read_at_once(source(build.file()))
    assert contents is not None
    assert contents.points.values["cadence_rpm"][-1] == 80.0


def limited(data: bytes, max_points: int) -> Source:
    return replace(source(data), limits=replace(DEFAULT_LIMITS, max_points=max_points))


def test_limits() -> None:
    with pytest.raises(TrackError, match="more than 9 points"):
        parse_fit(limited(fit_bytes(10), 9))
    assert len(parse_fit(limited(fit_bytes(10), 10))) == 10
    with pytest.raises(TrackError, match="more than 9 points"):
        read_stepwise(limited(fit_bytes(10), 9))
    idle = Builder()
    idle.define(0, 99, [])
    idle.parts.append(bytes(10_000))
    with pytest.raises(TrackError, match="more than 8,000 messages"):
        parse_fit(limited(idle.file(), 1_000))


def test_absurd_definitions() -> None:
    wide = Builder()
    wide.define(0, RECORD, [Told(i, 255, EIGHT_BIT) for i in range(200)])
    for _ in range(3):
        wide.data(0, bytes(200 * 255))
    assert len(parse_fit(source(wide.file()))) == 3
    many = Builder()
    for i in range(5000):
        many.define(0, 1000 + i, [])
    with pytest.raises(TrackError, match="more than 4,096 different definitions"):
        parse_fit(source(many.file()))


def test_absurdly_many_laps() -> None:
    laps = Builder([records(fit_rows(2))])
    laps.define(0, 19, [])
    laps.parts.append(bytes(100_001))
    for read in (read_at_once, read_stepwise):
        with pytest.raises(TrackError, match="more than 100,000 laps"):
            read(source(laps.file()))


def test_data_size_beyond_the_file() -> None:
    body = file_id(4) + records(fit_rows(5))
    contents = compare(fit_part(body, data_size=2**32 - 1)[:-2])
    assert contents.condition.end is End.CUT_SHORT
    assert len(contents.points) == 5
