"""A minimal FIT encoder: one activity of timer events, records, a lap, a session.

Layout after the published FIT protocol: 14-byte header, definition and data messages, CRC-16
(polynomial 0xA001 reflected, start 0) after the header and after the file.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .recorder import RecordedTrack

FIT_EPOCH_UNIX_S = 631_065_600
SEMICIRCLES_PER_DEGREE = 2**31 / 180.0
_CRC_TABLE = (
    0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401,
    0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Type:
    """A FIT base type: its code, `struct` letter and the value that means "invalid"."""

    code: int
    letter: str
    invalid: int


_ENUM = _Type(0x00, "B", 0xFF)
_UINT16 = _Type(0x84, "H", 0xFFFF)
_SINT32 = _Type(0x85, "i", 0x7FFFFFFF)
_UINT32 = _Type(0x86, "I", 0xFFFFFFFF)
_UINT32Z = _Type(0x8C, "I", 0)

_Fields = tuple[tuple[int, _Type], ...]

_FILE_ID: _Fields = ((0, _ENUM), (1, _UINT16), (2, _UINT16), (3, _UINT32Z), (4, _UINT32))
_EVENT: _Fields = ((253, _UINT32), (0, _ENUM), (1, _ENUM))
_RECORD: _Fields = ((253, _UINT32), (0, _SINT32), (1, _SINT32), (2, _UINT16))
_LAP: _Fields = (
    (253, _UINT32), (0, _ENUM), (1, _ENUM), (2, _UINT32), (7, _UINT32), (8, _UINT32), (9, _UINT32),
)  # fmt: skip
_SESSION: _Fields = (*_LAP, (5, _ENUM))
_ACTIVITY: _Fields = (
    (253, _UINT32), (0, _UINT32), (1, _UINT16), (2, _ENUM), (3, _ENUM), (4, _ENUM),
)  # fmt: skip
_TIMER, _SESSION_EVENT, _LAP_EVENT, _ACTIVITY_EVENT = 0, 8, 9, 26
_START, _STOP, _STOP_ALL = 0, 1, 4


def crc16(data: bytes, crc: int = 0) -> int:
    """CRC-16 of FIT files; ``crc16(b"123456789") == 0xBB3D``."""
    for byte in data:
        crc = (crc >> 4) ^ _CRC_TABLE[(crc ^ byte) & 0xF]
        crc = (crc >> 4) ^ _CRC_TABLE[(crc ^ (byte >> 4)) & 0xF]
    return crc


class _Messages:
    """The data part of a file in the making."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []

    def define(self, local: int, number: int, fields: _Fields) -> None:
        """Announce that local messages `local` are global messages `number` with `fields`."""
        self.parts.append(struct.pack("<BBBHB", 0x40 | local, 0, 0, number, len(fields)))
        for field, kind in fields:
            self.parts.append(bytes((field, struct.calcsize("<" + kind.letter), kind.code)))

    def data(self, local: int, fields: _Fields, values: tuple[float, ...]) -> None:
        """Add a data message; NaN becomes the invalid value of its type."""
        numbers = [
            kind.invalid if math.isnan(value) else round(value)
            for (_, kind), value in zip(fields, values, strict=True)
        ]
        letters = "".join(kind.letter for _, kind in fields)
        self.parts.append(struct.pack("<B" + letters, local, *numbers))


def write_fit(path: Path, track: RecordedTrack, power_w: np.ndarray | None = None) -> None:
    """Write a track as a FIT activity.

    Parameters
    ----------
    path : pathlib.Path
        Where to.
    track : RecordedTrack
        Speed and distance fields are left out where the recorder has none.
    power_w : array, shape (n,), optional
        Pedalling power of the rider [W]; NaN where unknown.
    """
    messages = _Messages()
    stamps = np.rint(track.time_unix_s).astype(np.int64) - FIT_EPOCH_UNIX_S
    first, last = int(stamps[0]), int(stamps[-1])
    messages.define(0, 0, _FILE_ID)
    messages.data(0, _FILE_ID, (4, 255, 1, 1, first))  # an activity, by a maker "in development"
    messages.define(1, 21, _EVENT)
    fields, columns = _record_columns(track, power_w)
    messages.define(2, 20, fields)
    paused_s = 0
    for piece in np.unique(track.piece):
        index = np.flatnonzero(track.piece == piece)
        messages.data(1, _EVENT, (int(stamps[index[0]]), _TIMER, _START))
        for i in index.tolist():
            messages.data(2, fields, (int(stamps[i]), *(float(c[i]) for c in columns)))
        ends = int(stamps[index[-1]])
        messages.data(1, _EVENT, (ends, _TIMER, _STOP_ALL))
        if index[-1] + 1 < stamps.size:
            paused_s += int(stamps[index[-1] + 1]) - ends
    _summaries(messages, track, first, last, paused_s)
    body = b"".join(messages.parts)
    header = struct.pack("<BBHI4s", 14, 0x20, 2132, len(body), b".FIT")
    whole = header + struct.pack("<H", crc16(header)) + body
    path.write_bytes(whole + struct.pack("<H", crc16(whole)))


def _record_columns(
    track: RecordedTrack, power_w: np.ndarray | None
) -> tuple[_Fields, list[np.ndarray]]:
    fields = _RECORD
    columns = [
        track.lat_deg * SEMICIRCLES_PER_DEGREE,
        track.lon_deg * SEMICIRCLES_PER_DEGREE,
        5.0 * (track.height_m + 500.0),
    ]
    if not np.isnan(track.distance_m).all():
        fields += ((5, _UINT32),)
        columns.append(100.0 * track.distance_m)
    if not np.isnan(track.speed_m_s).all():
        fields += ((6, _UINT16),)
        columns.append(1_000.0 * track.speed_m_s)
    if power_w is not None:
        fields += ((7, _UINT16),)
        columns.append(power_w)
    return fields, columns


def _summaries(
    messages: _Messages, track: RecordedTrack, first: int, last: int, paused_s: int
) -> None:
    elapsed_ms, timer_ms = 1_000 * (last - first), 1_000 * (last - first - paused_s)
    common = (first, elapsed_ms, timer_ms, 100.0 * float(track.distance_m[-1]))
    messages.define(3, 19, _LAP)
    messages.data(3, _LAP, (last, _LAP_EVENT, _STOP, *common))
    messages.define(4, 18, _SESSION)
    messages.data(4, _SESSION, (last, _SESSION_EVENT, _STOP, *common, 0))  # sport "generic"
    messages.define(5, 34, _ACTIVITY)
    messages.data(5, _ACTIVITY, (last, timer_ms, 1, 0, _ACTIVITY_EVENT, _STOP))
