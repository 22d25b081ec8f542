"""Other people's FIT files: every field, mark and developer's number that fitdecode sees.

The folder is no part of the project; where it is absent these tests skip.
"""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import fitdecode
import numpy as np
import pytest

from tests.ingest.fit_compare import assert_same
from wherewatt.errors import TrackError
from wherewatt.ingest import read_track
from wherewatt.ingest.fit_gather import read_at_once
from wherewatt.ingest.fit_stepwise import read_stepwise
from wherewatt.ingest.source import read_source
from wherewatt.ingest.track import MarkKind, Track

FIT_EPOCH_UNIX_S = 631_065_600
TIMER_EVENTS = {
    "start": MarkKind.START,
    **dict.fromkeys(("stop", "stop_all", "stop_disable", "stop_disable_all"), MarkKind.STOP),
}


def tracks(folder: Path) -> Iterator[tuple[Track, list[Any]]]:
    """Each file as a track, and its messages as fitdecode with its own settings sees them."""
    for path in sorted((folder / "fit").glob("*.fit")):
        try:
            track = read_track(path)
        except TrackError:
            continue
        with warnings.catch_warnings(), fitdecode.FitReader(path, check_crc=False) as reader:
            warnings.simplefilter("ignore")
            messages = list(messages_until_damage(reader))
        yield track, messages


def messages_until_damage(reader: Any) -> Iterator[Any]:
    try:
        yield from (frame for frame in reader if isinstance(frame, fitdecode.FitDataMessage))
    except fitdecode.FitError:
        return


def unix_ns(value: Any) -> int | None:
    """A time of fitdecode: a date, or seconds where its clock was not set or for bare headers."""
    if isinstance(value, dt.datetime):
        return int(value.timestamp()) * 10**9
    return None if value is None else (FIT_EPOCH_UNIX_S + int(value)) * 10**9


def test_all_files_are_read_at_once(shared_data: Path) -> None:
    paths = sorted((shared_data / "fit").glob("*.fit"))
    assert len(paths) >= 25
    for path in paths:
        source = read_source(path)
        contents = read_at_once(source)
        assert contents is not None
        assert_same(contents, read_stepwise(source))


def test_every_field_and_mark(shared_data: Path) -> None:
    """Cadence, temperature, developers' fields, and laps, sessions, starts and stops."""
    numbers = marks = 0
    names: set[str] = set()
    for track, messages in tracks(shared_data):
        records = [message for message in messages if message.name == "record"]
        numbers += check_cadence_and_temperature(track, records)
        check_developer_fields(track, records)
        names |= track.developer.keys()
        ours = [(mark.kind, mark.unix_ns, mark.started_unix_ns) for mark in track.marks]
        assert ours == marks_seen(messages)
        marks += len(ours)
    assert numbers > 10_000
    assert {"doughnuts_earned", "Power", "Heart Rate", "depth"} <= names
    assert marks > 100


def check_cadence_and_temperature(track: Track, records: list[Any]) -> int:
    """Compare; how many numbers were there?"""
    numbers = 0
    for i, record in enumerate(records):
        cadence = record.get_value("cadence", fallback=None)
        if cadence is not None:
            cadence += record.get_value("fractional_cadence", fallback=None) or 0.0
        temperature = record.get_value("temperature", fallback=None)
        for value, ours in ((cadence, track.cadence_rpm), (temperature, track.temperature_c)):
            assert np.isnan(ours[i]) if value is None else ours[i] == value
            numbers += value is not None
    return numbers


def check_developer_fields(track: Track, records: list[Any]) -> None:
    for name, column in track.developer.items():
        for record, ours in zip(records, column, strict=True):
            values = (f.raw_value for f in record.fields if f.name == name and is_developer(f))
            value = next(values, None)
            assert np.isnan(ours) if value is None else ours == value


def is_developer(field: Any) -> bool:
    return field.field_def is not None and field.field_def.is_dev


def marks_seen(messages: list[Any]) -> list[tuple[MarkKind, int | None, int | None]]:
    marks: list[tuple[MarkKind, int | None, int | None]] = []
    for message in messages:
        time = unix_ns(message.get_value("timestamp", fallback=None))
        if message.name in ("lap", "session"):
            begun = unix_ns(message.get_value("start_time", fallback=None))
            marks.append((MarkKind(message.name), time, begun))
        elif message.name == "event" and message.get_value("event", fallback=None) == "timer":
            kind = TIMER_EVENTS.get(message.get_value("event_type", fallback=None))
            if kind is not None:
                marks.append((kind, time, None))
    return marks


@pytest.mark.parametrize("name", ["compressed-speed-distance", "antfs-dump.63"])
def test_times_in_compressed_headers(shared_data: Path, name: str) -> None:
    path = shared_data / "fit" / f"{name}.fit"
    track = read_track(path)
    with fitdecode.FitReader(path, check_crc=False, processor=None) as reader:
        frames = [f for f in reader if isinstance(f, fitdecode.FitDataMessage)]
    records = [frame for frame in frames if frame.name == "record"]
    assert sum(record.time_offset is not None for record in records) > 600
    expected = [FIT_EPOCH_UNIX_S + record.get_value("timestamp") for record in records]
    assert track.start_unix_ns is not None
    np.testing.assert_array_equal(track.time_s, np.array(expected) - track.start_unix_ns // 10**9)
