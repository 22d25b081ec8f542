from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wherewatt.ingest.clock import Moment, parse_moment

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SECOND = 1_000_000_000
# within 146 years of 1970
moments = st.datetimes(datetime(1830, 1, 1), datetime(2110, 1, 1))
zones = st.integers(-1439, 1439).map(lambda minutes: timezone(timedelta(minutes=minutes)))


@given(moments, zones, st.sampled_from("T "))
def test_against_datetime(moment: datetime, zone: timezone, between: str) -> None:
    zoned = moment.replace(tzinfo=zone)
    ns = (zoned - EPOCH) // timedelta(microseconds=1) * 1000
    assert parse_moment(zoned.isoformat(between)) == Moment(ns, zoned=True)
    plain = (moment.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1) * 1000
    assert parse_moment(moment.isoformat(between)) == Moment(plain, zoned=False)


@pytest.mark.parametrize(
    ("text", "unix_ns"),
    [
        ("1970-01-01T00:00:00Z", 0),
        ("1970-1-1 0:0:1z", SECOND),
        ("1970-01-01T00:00:00.1234567899Z", 123_456_789),
        ("1969-12-31T23:59:59.25Z", -750_000_000),
        ("1970-01-01T01:00:00+01", 0),
        ("1970-01-01T00:00:00-0130", 5400 * SECOND),
        ("2024-02-29T00:00:00Z", 1_709_164_800 * SECOND),  # `date -u -d 2024-02-29 +%s`
    ],
)
def test_forms(text: str, unix_ns: int) -> None:
    assert parse_moment(text) == Moment(unix_ns, zoned=True)


@pytest.mark.parametrize(
    "text",
    [
        *("", "now", "2025-05-04", "2025-05-04T10:00", "2025-02-29T00:00:00Z"),
        *("2025-05-04T24:00:00Z", "2025-05-04T23:60:00Z", "2025-05-04T23:59:60Z"),
        *("2025-05-04T10:00:00+24:00", "2025-05-04T10:00:00+05:60", " 2025-05-04T10:00:00Z"),
        *("0000-01-01T00:00:00Z", "1800-01-01T00:00:00Z", "9999-01-01T00:00:00Z"),
        *("٢٠٢٥-05-04T10:00:00Z", "2025-05-04T10:00:00." + "1" * 1000 + "Z"),
    ],
)
def test_unreadable(text: str) -> None:
    assert parse_moment(text) is None
