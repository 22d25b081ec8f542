"""Times and marks: the rules that `fit_contents` states."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.ingest.fit_builder import EVENT, LAP, RECORD, SESSION, Builder, Told
from wherewatt.ingest import read_track
from wherewatt.ingest.fit import parse_fit
from wherewatt.ingest.fit_contents import seconds_of, unix_ns_of
from wherewatt.ingest.points import NO_TIME, NS_LIMIT
from wherewatt.ingest.source import Source
from wherewatt.ingest.track import Mark, MarkKind, Track

FIT_EPOCH_UNIX_S = 631_065_600
START_S = 1_115_000_000
STARTED, ENDED = START_S + 5, START_S + 65
TIME = Told(253, 4, 0x86)


def unix_ns(fit_s: int) -> int:
    return (FIT_EPOCH_UNIX_S + fit_s) * 10**9


def recording(*record_times_s: int) -> Builder:
    """Records of a time and a power."""
    build = Builder()
    build.define(0, RECORD, [TIME, Told(7, 2, 0x84)])
    for time_s in record_times_s:
        build.packed(0, "IH", time_s, 100)
    return build


def track_of(build: Builder) -> Track:
    return parse_fit(Source(Path("ride.fit"), "", build.file()))


def codes(track: Track) -> list[str]:
    return [note.code for note in track.notes]


@pytest.mark.parametrize("order", ["<", ">"])
def test_laps_sessions_starts_and_stops(order: str) -> None:
    build = recording(START_S, START_S + 70)
    build.define(1, EVENT, [TIME, Told(0, 1, 0), Told(1, 1, 0)], order=order)
    for event, event_type in [(0, 0), (0, 1), (0, 4), (0, 8), (0, 9), (0, 3), (26, 1), (0xFF, 0)]:
        build.packed(1, "IBB", ENDED, event, event_type)
    build.define(2, LAP, [TIME, Told(2, 4, 0x86), Told(7, 4, 0x86)], order=order)
    build.packed(2, "III", ENDED, STARTED, 60_000)
    build.packed(2, "III", 0xFFFFFFFF, 0xFFFFFFFF, 60_000)
    build.define(3, SESSION, [Told(2, 4, 0x86)], order=order)
    build.packed(3, "I", STARTED, offset_s=ENDED)
    stop = Mark(MarkKind.STOP, unix_ns(ENDED))
    assert track_of(build).marks == (
        Mark(MarkKind.START, unix_ns(ENDED)),
        *(stop, stop, stop, stop),
        Mark(MarkKind.LAP, unix_ns(ENDED), unix_ns(STARTED)),
        Mark(MarkKind.LAP, None),
        Mark(MarkKind.SESSION, unix_ns(ENDED), unix_ns(STARTED)),
    )


def test_marks_from_before_the_clock_was_set() -> None:
    real, system = recording(START_S), recording(900, 950)
    for build in (real, system):
        build.define(1, LAP, [TIME, Told(2, 4, 0x86)])
        build.packed(1, "II", ENDED, 1000)
    assert track_of(real).marks == (Mark(MarkKind.LAP, unix_ns(ENDED), None),)
    assert codes(track_of(real)) == ["position-missing"]
    # no record has a real time: all times are kept
    assert track_of(system).marks == (Mark(MarkKind.LAP, unix_ns(ENDED), unix_ns(1000)),)
    assert codes(track_of(system)) == ["clock-not-set", "position-missing"]


def test_local_time_is_no_time() -> None:
    build = recording(START_S)
    build.define(1, 34, [Told(5, 4, 0x86)])  # activity, with the local time only
    build.packed(1, "I", START_S + 7200)
    track = track_of(build)
    assert track.start_unix_ns == unix_ns(START_S)
    assert len(track) == 1


def test_times_that_do_not_fit_are_missing() -> None:
    last_s = (NS_LIMIT - 1) // 10**9 - FIT_EPOCH_UNIX_S
    track = track_of(recording(START_S, last_s, last_s + 1, 0xFFFFFFFE, 0xFFFFFFFF))
    np.testing.assert_array_equal(track.time_s, [0.0, last_s - START_S, np.nan, np.nan, np.nan])


@pytest.mark.parametrize(
    "timestamp", [None, np.nan, np.inf, -np.inf, 2**64, -(2**64), 0, 12.9, START_S, 2**32 - 2]
)
def test_one_time_and_many_follow_the_same_rule(timestamp: float | None) -> None:
    seconds = seconds_of(timestamp)
    assert seconds == NO_TIME or abs(unix_ns(seconds)) < NS_LIMIT
    if isinstance(timestamp, int) and abs(timestamp) < 2**62:
        assert unix_ns_of(np.array([timestamp]))[0] == unix_ns_of(np.array([seconds]))[0]


def test_cadence_temperature_and_their_zeros() -> None:
    build = Builder()
    fields = [TIME, Told(4, 1, 0x02), Told(53, 1, 0x02), Told(13, 1, 0x01)]
    build.define(0, RECORD, fields)
    rows = [(80, 64, -5), (80, 0xFF, 0), (0xFF, 64, 0x7F), (0, 0, 21)]
    for i, row in enumerate(rows):
        build.packed(0, "IBBb", START_S + i, *row)
    track = track_of(build)
    np.testing.assert_array_equal(track.cadence_rpm, [80.5, 80.0, np.nan, 0.0])
    np.testing.assert_array_equal(track.temperature_c, [-5.0, 0.0, np.nan, 21.0])


def test_arrays_of_standard_fields_are_no_numbers(tmp_path: Path) -> None:
    build = Builder()
    build.define(0, RECORD, [TIME, Told(7, 4, 0x84), Told(4, 3, 0x84), Told(13, 1, 0x44)])
    build.packed(0, "IHH3sB", START_S, 100, 200, b"abc", 20)
    path = tmp_path / "ride.fit"
    path.write_bytes(build.file())
    track = read_track(path)
    for column in (track.rider_w, track.cadence_rpm, track.temperature_c):
        np.testing.assert_array_equal(column, [np.nan])
