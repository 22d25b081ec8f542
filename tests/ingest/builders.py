"""Tiny writers of track files, so that a test can say exactly what a file holds."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import NamedTuple

FIT_EPOCH_UNIX_S = 631_065_600
CRC_TABLE = (
    *(0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401),
    *(0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400),
)
FIT_ACTIVITY, FIT_SETTINGS, FIT_COURSE = 4, 2, 6


class P(NamedTuple):
    """One point of a GPX file, as the text that stands in it."""

    lat: str
    lon: str
    inner: str = ""


def gpx_text(
    points: Sequence[P],
    *,
    version: str = "1.1",
    prefix: str = "",
    declaration: str = '<?xml version="1.0" encoding="UTF-8"?>',
) -> str:
    """A GPX file of one segment; `inner` of a point is put in as it is."""
    uri = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    p = f"{prefix}:" if prefix else ""
    xmlns = f"xmlns:{prefix}" if prefix else "xmlns"
    trkpts = "\n".join(
        f'<{p}trkpt lat="{point.lat}" lon="{point.lon}">{point.inner}</{p}trkpt>'
        for point in points
    )
    return (
        f'{declaration}\n<{p}gpx {xmlns}="{uri}" xmlns:x="http://example.org/x" '
        f'version="{version}" creator="test">\n<{p}trk><{p}trkseg>\n'
        f"{trkpts}\n</{p}trkseg></{p}trk>\n</{p}gpx>\n"
    )


def timed_points(count: int) -> list[P]:
    """A short ride at 1 Hz, gently climbing."""
    return [
        P(
            f"{46.0 + i * 1e-5:.6f}",
            f"{7.0 + i * 2e-5:.6f}",
            f"<ele>{400.0 + i / 10:.1f}</ele><time>2025-05-04T10:00:{i % 60:02d}Z</time>",
        )
        for i in range(count)
    ]


class Field(NamedTuple):
    """One field of a FIT message: number, size [byte], base type, struct code."""

    number: int
    size: int
    base_type: int
    code: str


RECORD_FIELDS = (
    Field(253, 4, 0x86, "I"),  # timestamp
    Field(0, 4, 0x85, "i"),  # position_lat
    Field(1, 4, 0x85, "i"),  # position_long
    Field(2, 2, 0x84, "H"),  # altitude, (m + 500) * 5
    Field(5, 4, 0x86, "I"),  # distance, cm
    Field(6, 2, 0x84, "H"),  # speed, mm/s
    Field(7, 2, 0x84, "H"),  # power
)
INVALID_I32, INVALID_U32, INVALID_U16 = 0x7FFFFFFF, 0xFFFFFFFF, 0xFFFF


def crc(data: bytes) -> int:
    """CRC-16/ARC, nibble by nibble."""
    value = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            value = (value >> 4) ^ CRC_TABLE[value & 0xF] ^ CRC_TABLE[nibble]
    return value


def definition(local: int, message: int, fields: Sequence[Field], *, big_endian: bool) -> bytes:
    """A definition message."""
    order = ">" if big_endian else "<"
    head = struct.pack(f"{order}BBBHB", 0x40 | local, 0, int(big_endian), message, len(fields))
    return head + b"".join(bytes((f.number, f.size, f.base_type)) for f in fields)


def message(
    local: int, fields: Sequence[Field], values: Sequence[int], *, big_endian: bool
) -> bytes:
    """A data message."""
    order = ">" if big_endian else "<"
    return bytes((local,)) + struct.pack(order + "".join(f.code for f in fields), *values)


def fit_part(body: bytes, *, data_size: int | None = None, header_size: int = 14) -> bytes:
    """One FIT file around a body: header, body, checksum."""
    size = len(body) if data_size is None else data_size
    header = struct.pack("<BBHI4s", header_size, 0x10, 2100, size, b".FIT")
    if header_size == 14:
        header += struct.pack("<H", crc(header))
    return header + body + struct.pack("<H", crc(header + body))


def file_id(kind: int, *, big_endian: bool = False) -> bytes:
    """The message that says what a FIT file is."""
    fields = (Field(0, 1, 0x00, "B"),)
    return definition(0, 0, fields, big_endian=big_endian) + message(
        0, fields, (kind,), big_endian=big_endian
    )


def records(rows: Sequence[Sequence[int]], *, big_endian: bool = False) -> bytes:
    """Definition and data of record messages with `RECORD_FIELDS`."""
    return definition(1, 20, RECORD_FIELDS, big_endian=big_endian) + b"".join(
        message(1, RECORD_FIELDS, row, big_endian=big_endian) for row in rows
    )


def semicircles(degrees: float) -> int:
    return round(degrees * 2**31 / 180.0)


def fit_rows(count: int, *, start_s: int = 1_115_000_000) -> list[tuple[int, ...]]:
    """A short ride at 1 Hz: 5 m/s, 120 W."""
    return [
        (
            start_s + i,
            semicircles(46.0 + i * 1e-5),
            semicircles(7.0 + i * 2e-5),
            round((400.0 + i / 5 + 500.0) * 5),
            500 * i,
            5000,
            120,
        )
        for i in range(count)
    ]


def fit_bytes(count: int = 10, *, kind: int = FIT_ACTIVITY, big_endian: bool = False) -> bytes:
    """A whole FIT activity."""
    body = file_id(kind, big_endian=big_endian) + records(fit_rows(count), big_endian=big_endian)
    return fit_part(body)
