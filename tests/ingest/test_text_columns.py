from __future__ import annotations

import random

import numpy as np
import pytest

from wherewatt.ingest.clock import parse_moment
from wherewatt.ingest.points import NO_TIME, to_float
from wherewatt.ingest.text_columns import Texts, read_decimals, read_moments


def texts_of(pieces: list[str]) -> Texts:
    ends = np.cumsum([len(piece) + 1 for piece in pieces]) - 1
    starts = ends - [len(piece) for piece in pieces]
    return Texts(" ".join(pieces).encode(), starts, ends)


@pytest.mark.parametrize("digits", range(1, 30))
def test_decimals_of_any_length_are_the_nearest_floats(digits: int) -> None:
    rng = random.Random(digits)
    pieces = []
    for _ in range(400):
        number = "".join(rng.choices("0123456789", k=digits))
        point = rng.choice((0, 2, digits - 1)) % digits
        pieces.append(rng.choice(("", "-")) + number[: point or digits])
        pieces[-1] += "." + number[point:] if point else ""
    values = read_decimals(texts_of(pieces))
    np.testing.assert_array_equal(values.view(np.int64), np.array(pieces, float).view(np.int64))


def test_decimals_at_the_edge_of_exact_whole_numbers() -> None:
    pieces = [f"{(2**53 + step) / 1000:.3f}" for step in range(-40, 40)] * 3
    pieces += [str(2**53 + step) for step in range(-40, 40)]
    np.testing.assert_array_equal(read_decimals(texts_of(pieces)), [float(p) for p in pieces])


def test_what_is_no_plain_decimal_is_read_one_by_one() -> None:
    pieces = ["1e3", "", "nan", "-inf", "+5", ".5", "5.", "1,5", "--1", "1_0", "-", "x", "0x1"] * 9
    expected = [to_float(piece) for piece in pieces]
    np.testing.assert_array_equal(read_decimals(texts_of(pieces)), expected)


@pytest.mark.parametrize(
    "text",
    [
        "2024-02-29T23:59:59Z",
        "2023-02-29T23:59:59Z",
        "1900-02-29T00:00:00Z",
        "2000-02-29 00:00:00Z",
        "2025-12-31T00:00:00+05:30",
        "2025-01-01T00:00:00-23:59",
        "2025-01-01T00:00:00+24:00",
        "2025-05-04T10:00:00",
        "2025-05-04T10:00:00.1",
        "2025-05-04T10:00:00.123456789Z",
        "2025-05-04T10:00:00.1234567899+01:00",
        "2025-05-04T24:00:00Z",
        "2025-05-04T23:59:60Z",
        "2025-13-04T00:00:00Z",
        "2025-00-04T00:00:00Z",
        "2025-01-00T00:00:00Z",
        "0000-01-01T00:00:00Z",
        "0001-01-01T00:00:00Z",
        "9999-12-31T23:59:59Z",
        "1823-11-12T00:00:00Z",
        "2116-02-20T23:53:38Z",
        "2116-02-20T23:53:39Z",
        "2025-5-4T1:2:3Z",
        "2025-05-04T10:00:00z",
        "soon",
        "",
    ],
)
def test_moments_are_those_of_the_clock(text: str) -> None:
    unix_ns, zoneless = read_moments(texts_of([text] * 30))
    moment = parse_moment(text)
    assert set(unix_ns.tolist()) == {NO_TIME if moment is None else moment.unix_ns}
    assert set(zoneless.tolist()) == {moment is not None and not moment.zoned}


def test_moments_of_every_month() -> None:
    dates = [f"{year}-{month:02d}" for year in (1999, 2000, 2024) for month in range(1, 13)]
    pieces = [f"{date}-{day:02d}T12:00:00Z" for date in dates for day in range(1, 33)]
    expected = [NO_TIME if (at := parse_moment(p)) is None else at.unix_ns for p in pieces]
    np.testing.assert_array_equal(read_moments(texts_of(pieces))[0], expected)
