from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.ingest.builders import crc
from wherewatt.ingest.fit_crc import crc16


def test_check_value() -> None:
    """The value by which catalogues of checksums name CRC-16/ARC."""
    assert crc16(b"123456789") == 0xBB3D


@given(st.binary(max_size=400))
def test_as_nibble_by_nibble(data: bytes) -> None:
    assert crc16(data) == crc(data)


@pytest.mark.parametrize("size", [0, 1, 8191, 8192, 8193, 16_384, 30_001])
def test_sizes_around_whole_rows(size: int) -> None:
    data = random.Random(size).randbytes(size)
    assert crc16(memoryview(data)) == crc(data)
