"""The few numbers of the FIT protocol and profile that we read.

Facts from the published protocol and from the profile as fitdecode holds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

EPOCH_UNIX_S = 631_065_600  # 1989-12-31T00:00:00Z
# Below this a timestamp counts from when the device was switched on (FIT profile, date_time).
SYSTEM_TIME_LIMIT_S = 0x10000000
DEGREES_PER_SEMICIRCLE = 180.0 / 2**31


@dataclass(frozen=True, slots=True)
class BaseType:
    """How a number stands in a file.

    Parameters
    ----------
    letter : its letter in formats of `struct` and dtypes of numpy.
    size : its size [byte].
    invalid : the value that means "not recorded"; None where NaN means that.
    """

    letter: str
    size: int
    invalid: int | None


UINT8 = BaseType("B", 1, 0xFF)
UINT16 = BaseType("H", 2, 0xFFFF)
UINT32 = BaseType("I", 4, 0xFFFFFFFF)

# By number of the base type. Text (0x07) and bytes (0x0D) hold no number; neither do others.
NUMBER_TYPES = {
    0x00: UINT8,  # enum
    0x01: BaseType("b", 1, 0x7F),
    0x02: UINT8,
    0x83: BaseType("h", 2, 0x7FFF),
    0x84: UINT16,
    0x85: BaseType("i", 4, 0x7FFFFFFF),
    0x86: UINT32,
    0x88: BaseType("f", 4, None),
    0x89: BaseType("d", 8, None),
    0x0A: BaseType("B", 1, 0),
    0x8B: BaseType("H", 2, 0),
    0x8C: BaseType("I", 4, 0),
    0x8E: BaseType("q", 8, 0x7FFFFFFFFFFFFFFF),
    0x8F: BaseType("Q", 8, 0xFFFFFFFFFFFFFFFF),
    0x90: BaseType("Q", 8, 0),
}
TEXT_TYPE, BYTE_TYPE = 0x07, 0x0D

TIMESTAMP = 253  # field of any message


class Message(IntEnum):
    """Numbers of messages."""

    FILE_ID = 0
    SESSION = 18
    LAP = 19
    RECORD = 20
    EVENT = 21
    FIELD_DESCRIPTION = 206
    DEVELOPER_DATA_ID = 207


class RecordField(IntEnum):
    """Numbers of fields of a record."""

    POSITION_LAT = 0
    POSITION_LONG = 1
    ALTITUDE = 2
    CADENCE = 4
    DISTANCE = 5
    SPEED = 6
    POWER = 7
    COMPRESSED_SPEED_DISTANCE = 8
    TEMPERATURE = 13
    FRACTIONAL_CADENCE = 53
    ENHANCED_SPEED = 73
    ENHANCED_ALTITUDE = 78


@dataclass(frozen=True, slots=True)
class Reading:
    """What a field of a record says: value = number / `scale` − `offset`, of a name of ours."""

    name: str
    scale: float = 1.0
    offset: float = 0.0


READINGS: dict[int, Reading] = {
    RecordField.POSITION_LAT: Reading("latitude_semicircles"),
    RecordField.POSITION_LONG: Reading("longitude_semicircles"),
    RecordField.ALTITUDE: Reading("elevation_m", 5.0, 500.0),
    RecordField.CADENCE: Reading("cadence_rpm"),
    RecordField.DISTANCE: Reading("odometer_m", 100.0),
    RecordField.SPEED: Reading("speed_m_s", 1000.0),
    RecordField.POWER: Reading("rider_w"),
    RecordField.TEMPERATURE: Reading("temperature_c"),
    RecordField.FRACTIONAL_CADENCE: Reading("fractional_cadence_rpm", 128.0),
    RecordField.ENHANCED_SPEED: Reading("speed_m_s", 1000.0),
    RecordField.ENHANCED_ALTITUDE: Reading("elevation_m", 5.0, 500.0),
}

# Speed and distance in the low and high 12 bits of a field of three bytes. Of the distance these
# are the low bits (FIT profile); it begins at zero with each definition of the message (fitdecode).
PACKED_BYTES = 3
PACKED_SPEED_PER_M_S, PACKED_DISTANCE_PER_M = 100.0, 16.0

FILE_ID_TYPE = 0  # field of a file_id
COURSE_FILE = 6
FILE_TYPES = {
    1: "device",
    2: "settings",
    3: "sport",
    4: "activity",
    5: "workout",
    COURSE_FILE: "course",
    7: "schedules",
    9: "weight",
    10: "totals",
    11: "goals",
    14: "blood_pressure",
    15: "monitoring_a",
    20: "activity_summary",
    28: "monitoring_daily",
    32: "monitoring_b",
    34: "segment",
    35: "segment_list",
}

START_TIME = 2  # field of a lap or session

EVENT, EVENT_TYPE = 0, 1  # fields of an event
TIMER = 0
TIMER_STARTS = frozenset({0})
TIMER_STOPS = frozenset({1, 4, 8, 9})  # stop, stop all, stop and disable, stop and disable all


class DescriptionField(IntEnum):
    """Numbers of fields of a field_description."""

    DEVELOPER_INDEX = 0
    NUMBER = 1
    BASE_TYPE = 2
    NAME = 3
    SCALE = 6
    OFFSET = 7


DEVELOPER_ID_INDEX = 3  # field of a developer_data_id
