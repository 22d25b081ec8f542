"""Other people's real files: as many points as gpxpy and fitdecode see, with the same values.

The folder is no part of the project; where it is absent these tests skip.
"""

from __future__ import annotations

import datetime as dt
import math
import warnings
from pathlib import Path
from typing import Any

import fitdecode
import gpxpy
import numpy as np
import pytest

from wherewatt.errors import TrackError
from wherewatt.ingest import read_track
from wherewatt.ingest.gpx_salvage import salvage
from wherewatt.ingest.gpx_scan import scan
from wherewatt.ingest.points import make_track
from wherewatt.ingest.source import DEFAULT_LIMITS, Source
from wherewatt.ingest.track import Track
from wherewatt.ingest.xml_stream import decode

NAN = math.nan
FIT_EPOCH = dt.datetime(1989, 12, 31, tzinfo=dt.UTC)


def unix_s(track: Track) -> np.ndarray[Any, Any]:
    return track.time_s + (0 if track.start_unix_ns is None else track.start_unix_ns) / 1e9


def seen_by_gpxpy(path: Path) -> list[tuple[float, ...]]:
    """Latitude, longitude, elevation, time, speed of all track points."""
    gpx = gpxpy.parse(path.read_text(encoding="utf-8-sig"))
    rows: list[tuple[float, ...]] = []
    for point, _, _, _ in gpx.walk():
        time = point.time
        if time is not None and time.tzinfo is None:
            time = time.replace(tzinfo=dt.UTC)
        rows.append(
            (
                point.latitude,
                point.longitude,
                NAN if point.elevation is None else point.elevation,
                NAN if time is None else time.timestamp(),
                NAN if point.speed is None else point.speed,
            )
        )
    return rows


def seen_by_fitdecode(path: Path) -> list[tuple[float, ...]]:
    """Latitude, longitude, height, time, speed, distance, power of all records before damage."""

    def number(message: Any, *names: str) -> float:
        values = (message.get_value(name, fallback=None) for name in names)
        return next((float(value) for value in values if value is not None), NAN)

    def time(message: Any) -> float:
        value = message.get_value("timestamp", fallback=None)
        if isinstance(value, dt.datetime):
            return value.timestamp()
        return NAN if value is None else FIT_EPOCH.timestamp() + value

    rows: list[tuple[float, ...]] = []
    with warnings.catch_warnings(), fitdecode.FitReader(path, check_crc=False) as reader:
        warnings.simplefilter("ignore")
        try:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record":
                    rows.append(
                        (
                            number(frame, "position_lat") * 180 / 2**31,
                            number(frame, "position_long") * 180 / 2**31,
                            number(frame, "enhanced_altitude", "altitude"),
                            time(frame),
                            number(frame, "enhanced_speed", "speed"),
                            number(frame, "distance"),
                            number(frame, "power"),
                        )
                    )
        except fitdecode.FitError:
            pass
    return rows


def compare(path: Path, rows: list[tuple[float, ...]]) -> None:
    if not rows:
        with pytest.raises(TrackError) as caught:
            read_track(path)
        assert "\n" not in str(caught.value)
        return
    track = read_track(path)
    columns = (
        track.latitude_deg,
        track.longitude_deg,
        track.elevation_m,
        unix_s(track),
        track.speed_m_s,
        track.odometer_m,
        track.rider_w,
    )
    for column, expected in zip(columns, zip(*rows, strict=True), strict=False):
        np.testing.assert_allclose(column, np.array(expected), rtol=0, atol=1e-6, err_msg=path.name)


def test_gpx_files(shared_data: Path) -> None:
    paths = sorted((shared_data / "gpx").rglob("*.gpx"))
    assert len(paths) >= 20
    for path in paths:
        compare(path, seen_by_gpxpy(path))


def test_gpx_files_read_fast_and_slowly(shared_data: Path) -> None:
    paths = sorted((shared_data / "gpx").rglob("*.gpx"))
    fast = 0
    for path in paths:
        text, _ = decode(path.read_bytes())
        points = scan(text.encode(), DEFAULT_LIMITS)
        if points is None:
            continue
        fast += 1
        one, other = (
            make_track(Source(path, "", b""), columns, ())
            for columns in (points, salvage(text, DEFAULT_LIMITS).points)
        )
        assert one.notes == other.notes
        assert one.start_unix_ns == other.start_unix_ns
        for name, column in other.columns.items():
            np.testing.assert_array_equal(one.columns[name], column, err_msg=path.name)
    assert fast >= 20


def test_fit_files(shared_data: Path) -> None:
    paths = sorted((shared_data / "fit").glob("*.fit"))
    assert len(paths) >= 25
    for path in paths:
        compare(path, seen_by_fitdecode(path))


@pytest.mark.parametrize(
    ("name", "codes"),
    [
        ("activity-filecrc", ["checksum-wrong"]),
        ("activity-activity-filecrc", ["checksum-wrong"]),
        ("activity-unexpected-eof", ["file-cut-short"]),
        ("activity-settings-nodata", ["file-cut-short"]),
        ("activity-settings-corruptheader", ["trailing-bytes"]),
        ("activity-settings", []),
    ],
)
def test_known_damage_is_noted(shared_data: Path, name: str, codes: list[str]) -> None:
    track = read_track(shared_data / "fit" / f"{name}.fit")
    assert [note.code for note in track.notes] == codes


def test_monitoring_file_is_named(shared_data: Path) -> None:
    with pytest.raises(TrackError, match="type monitoring_b without records"):
        read_track(shared_data / "fit" / "MonitoringFile.fit")


def test_planned_route_is_named(shared_data: Path) -> None:
    with pytest.raises(TrackError, match="a planned route of 55 points"):
        read_track(shared_data / "gpx" / "gpxpy_Apache-2.0" / "route.gpx")
