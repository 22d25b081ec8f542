from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wherewatt.ingest.place import PlaceKind, parse_place
from wherewatt.ingest.sidefile import number_of, place_of
from wherewatt.units import METRES_PER_MILE


@given(
    st.decimals(min_value=0, max_value=100_000, places=3),
    st.sampled_from([("km", 1000.0), ("mi", METRES_PER_MILE), ("m", 1.0), ("KM", 1000.0)]),
    st.sampled_from(["", " ", "  "]),
    st.booleans(),
)
def test_distance_round_trip(
    number: Decimal, unit: tuple[str, float], gap: str, comma: bool
) -> None:
    text = f"{number}{gap}{unit[0]}"
    written = text.replace(".", ",") if comma else text
    place = place_of(written)
    assert place.kind is PlaceKind.DISTANCE
    assert place.text == written
    assert place.value == pytest.approx(float(number) * unit[1])


@given(st.integers(0, 99_999), st.integers(0, 59), st.integers(0, 59_999))
def test_elapsed_round_trip(hours: int, minutes: int, milliseconds: int) -> None:
    place = parse_place(f"{hours}:{minutes:02d}:{milliseconds / 1000:06.3f}")
    assert place.kind is PlaceKind.ELAPSED
    assert place.value == pytest.approx(hours * 3600 + minutes * 60 + milliseconds / 1000)


@given(
    st.datetimes(min_value=datetime(1980, 1, 1), max_value=datetime(2200, 1, 1)),
    st.integers(-14 * 60, 14 * 60),
)
def test_clock_round_trip(moment: datetime, offset_min: int) -> None:
    zoned = moment.replace(tzinfo=timezone(timedelta(minutes=offset_min)))
    place = parse_place(zoned.isoformat())
    assert place.kind is PlaceKind.CLOCK
    assert place.value == pytest.approx(zoned.timestamp(), abs=1e-5)


def test_clock_without_zone_is_utc() -> None:
    expected = datetime(2025, 5, 4, 10, 31, tzinfo=UTC).timestamp()
    assert parse_place("2025-05-04T10:31").value == expected
    assert parse_place("2025-05-04 10:31:00Z").value == expected


@given(st.text(max_size=40))
def test_anything_is_a_finite_place_or_a_value_error(text: str) -> None:
    try:
        place = place_of(text)
    except ValueError:
        return
    assert math.isfinite(place.value)


@pytest.mark.parametrize(
    "text",
    [
        *("", "3.6", "km", "-2 km", "1e3 km", "nan km", "31:00", "0:60:00"),
        *("2025-05-04", "10:31", "2025-05-04T25:00:00"),
        *("9" * 400 + " km", "9" * 5000 + ":00:00", "9" * 400 + ":00:00"),
    ],
)
def test_no_place(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - the reader of the table words the message
        place_of(text)


@pytest.mark.parametrize(
    ("text", "value"), [("88", 88.0), ("88 %", 88.0), ("88%", 88.0), ("88,5", 88.5), (".5", 0.5)]
)
def test_number(text: str, value: float) -> None:
    assert number_of(text, "%") == value


@pytest.mark.parametrize("text", ["", "%", "nan", "inf", "1e2", "8 8", "88 % %", "1,2,3", "0x10"])
def test_no_number(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - likewise
        number_of(text, "%")
