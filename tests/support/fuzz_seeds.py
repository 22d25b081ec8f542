"""Small whole files to damage, a few of each format, and pieces that mean something in them."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from tests.support.simulator import simulate

_POINTS = 40
_TOKENS = {
    "gpx": (
        *(b"<trkpt ", b"</trkpt>", b"<trkseg>", b"</trkseg>", b"<ele>", b"</ele>", b"<time>"),
        *(b"<!--", b"-->", b"<![CDATA[", b"]]>", b"<?x", b"?>", b"&amp;", b"&#0;", b"&x;"),
        *(b'lat="', b"lon='", b'"', b"'", b"/>", b"nan", b"1e999", b"-0", b"99999999999999999999"),
        *(b"2025-02-30T25:61:61Z", b"+14:00", b"xmlns:a='b'", b"<a:speed>", b"</a:speed>"),
        *(b"<!DOCTYPE a [<!ENTITY x 'y'>]>", b"\xff\xfe", b"\xef\xbb\xbf", b"<extensions>"),
    ),
    "fit": (
        *(
            b".FIT",
            b"\x40\x00\x00",
            b"\x40\x00\x01",
            b"\x60\x00\x00",
            b"\x00\x14",
            b"\x80",
            b"\xe0",
        ),
        *(b"\xff\xff\xff\x7f", b"\xff\xff", b"\x00\x00\x00\x00", b"\xfd\x04\x86", b"\x05\x04\x86"),
        *(b"\x0e\x10", b"\x0c\x10", b"\xff" * 16, b"\x00" * 16),
    ),
    "tcx": (
        *(b"<Trackpoint>", b"</Trackpoint>", b"<Position>", b"<Time>", b"</Time>", b"<Lap "),
        *(b"<LatitudeDegrees>", b"<!--", b"-->", b"&x;", b"nan", b"1e999", b"<!DOCTYPE a>"),
    ),
    "csv": (
        *(b",", b";", b"\t", b"\n", b"\r", b'"', b"time", b"elapsed_s", b"battery_v", b"nan"),
        *(b"1e999", b"-", b"2025-01-01T00:00:00Z", b"\x00", b"\xff\xfe", b"#", b",,,,,,"),
    ),
}


def tokens_of(kind: str) -> tuple[bytes, ...]:
    """Pieces that mean something in a format."""
    return _TOKENS[kind]


@cache
def seeds_of(kind: str) -> tuple[bytes, ...]:
    """Whole files of a format, of some dozens of points each."""
    if kind in ("gpx", "fit"):
        return tuple(_written(kind, seed) for seed in (1, 2, 3))
    rows = _rows()
    return (_tcx(rows),) if kind == "tcx" else (_log(rows, ","), _log(rows, ";"))


def _written(kind: str, seed: int) -> bytes:
    """The beginning of a simulated ride, as the simulator writes it."""
    ride = simulate("commuter", seed, recorder="computer" if kind == "fit" else None)
    with tempfile.TemporaryDirectory() as folder:
        path = ride.write(Path(folder), format=kind, side_files=())
        whole = path.read_bytes()
    if kind == "fit":
        return whole[:2000]
    parts = whole.split(b"<trkpt")
    tail = parts[-1][parts[-1].index(b"</trkpt>") + len(b"</trkpt>") :]
    return b"<trkpt".join(parts[: _POINTS + 1]) + tail


def _rows() -> list[tuple[str, float, float, float, float]]:
    return [
        (f"2025-05-04T08:00:{second:02d}Z", 44.5 + second / 1e4, -29.5, 20.0 + second, 5.0 * second)
        for second in range(_POINTS)
    ]


def _tcx(rows: list[tuple[str, float, float, float, float]]) -> bytes:
    points = "".join(
        f"<Trackpoint><Time>{time}</Time><Position><LatitudeDegrees>{latitude}</LatitudeDegrees>"
        f"<LongitudeDegrees>{longitude}</LongitudeDegrees></Position><AltitudeMeters>{height}"
        f"</AltitudeMeters><DistanceMeters>{way}</DistanceMeters></Trackpoint>\n"
        for time, latitude, longitude, height, way in rows
    )
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<TrainingCenterDatabase><Activities>'
        f'<Activity Sport="Biking"><Id>x</Id><Lap StartTime="{rows[0][0]}"><Track>\n{points}'
        "</Track></Lap></Activity></Activities></TrainingCenterDatabase>\n"
    )
    return text.encode()


def _log(rows: list[tuple[str, float, float, float, float]], mark: str) -> bytes:
    header = ("time", "latitude_deg", "longitude_deg", "elevation_m", "distance_m", "battery_v")
    lines = [mark.join(header)]
    lines += [mark.join((*map(str, row), "47.5")) for row in rows]
    return ("\n".join(lines) + "\n").encode()
