"""Long tracks, written fast: a loop through invented country at 1 Hz, for benchmarks and tests."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from tests.support.simulator.fit_writer import crc16

_START = datetime(2025, 5, 4, 8, tzinfo=UTC)
_FIT_EPOCH = datetime(1989, 12, 31, tzinfo=UTC)


def loop(points: int) -> dict[str, np.ndarray]:
    """Latitude, longitude [degree], height, distance [m] and speed [m/s] of a long loop."""
    rng = np.random.default_rng(points)
    speed = np.clip(6.0 + np.cumsum(rng.normal(0.0, 0.1, points)) % 3.0, 0.0, 12.0)
    way = np.cumsum(speed)
    turn = way / 4000.0
    return {
        "latitude": 44.5 + 0.03 * np.sin(turn) + rng.normal(0.0, 5e-6, points),
        "longitude": -29.5 + 0.04 * np.cos(1.3 * turn) + rng.normal(0.0, 5e-6, points),
        "height": 120.0 + 60.0 * np.sin(way / 2500.0) + rng.normal(0.0, 0.3, points),
        "way": way,
        "speed": speed,
    }


def write_gpx_file(path: Path, points: int) -> None:
    """Write a GPX 1.1 track of so many points."""
    data = loop(points)
    with path.open("w", encoding="utf-8") as file:
        file.write('<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="wherewatt"')
        file.write(' xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n')
        rows = zip(data["latitude"], data["longitude"], data["height"], strict=True)
        for second, (latitude, longitude, height) in enumerate(rows):
            moment = (_START + timedelta(seconds=second)).strftime("%Y-%m-%dT%H:%M:%SZ")
            file.write(
                f'   <trkpt lat="{latitude:.7f}" lon="{longitude:.7f}">\n'
                f"    <ele>{height:.1f}</ele>\n    <time>{moment}</time>\n   </trkpt>\n"
            )
        file.write("</trkseg></trk></gpx>\n")


_RECORD = np.dtype(
    [
        *(("header", "u1"), ("time", "<u4"), ("latitude", "<i4"), ("longitude", "<i4")),
        *(("way", "<u4"), ("height", "<u2"), ("speed", "<u2")),
    ]
)
# Local message 0: record with timestamp, position, distance, altitude and speed.
_RECORD_DEFINITION = bytes([0x40, 0, 0, 20, 0, 6]) + bytes(
    [253, 4, 0x86, 0, 4, 0x85, 1, 4, 0x85, 5, 4, 0x86, 2, 2, 0x84, 6, 2, 0x84]
)
# Local message 1: event with timestamp, event and event type.
_EVENT_DEFINITION = bytes([0x41, 0, 0, 21, 0, 3, 253, 4, 0x86, 0, 1, 0x00, 1, 1, 0x00])
_EVENT = np.dtype([("header", "u1"), ("time", "<u4"), ("event", "u1"), ("event_type", "u1")])
_FILE_ID = bytes([0x42, 0, 0, 0, 0, 1, 0, 1, 0x00, 0x02, 4])  # definition and message: activity


def write_fit_file(path: Path, points: int, *, mixed: bool = False) -> None:
    """Write a FIT activity of so many records, each followed by an event if `mixed`."""
    data = loop(points)
    start = int((_START - _FIT_EPOCH).total_seconds())
    records = np.zeros(points, dtype=_RECORD)
    records["time"] = start + np.arange(points)
    for name in ("latitude", "longitude"):
        records[name] = np.round(data[name] * 2**31 / 180.0)
    records["way"] = np.round(data["way"] * 100.0) % 2**32
    records["height"] = np.round((data["height"] + 500.0) * 5.0)
    records["speed"] = np.round(data["speed"] * 1000.0)
    if mixed:
        both = np.zeros(points, dtype=np.dtype([("record", _RECORD), ("event", _EVENT)]))
        both["record"] = records
        both["event"]["header"] = 1
        both["event"]["time"] = records["time"]
        both["event"]["event"] = 38  # a kind that says nothing of the timer
        body = both.tobytes()
    else:
        body = records.tobytes()
    body = _FILE_ID + _RECORD_DEFINITION + _EVENT_DEFINITION + body
    header = bytes([14, 0x20]) + (2132).to_bytes(2, "little")
    header += len(body).to_bytes(4, "little") + b".FIT"
    header += crc16(header).to_bytes(2, "little")
    path.write_bytes(header + body + crc16(header + body).to_bytes(2, "little"))
