"""A short run of benchmarks/fuzz_readers.py: damaged files end in a track or in one clear error."""

from __future__ import annotations

import pytest
from benchmarks.fuzz_readers import FORMATS, read_range

INPUTS = 1500
FIRST = 10_000_000  # far from the numbers that the long run begins with


@pytest.mark.parametrize("kind", FORMATS)
def test_damaged_files(kind: str) -> None:
    outcome = read_range(kind, FIRST, FIRST + INPUTS)
    assert outcome.crashes == {}, outcome.examples
    assert outcome.inputs == INPUTS
    # Both ends occur, or the damage would be too little or too much to say anything.
    assert 0.02 * INPUTS < outcome.tracks < INPUTS
