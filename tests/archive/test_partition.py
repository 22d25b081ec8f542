"""Parts follow from the rides alone."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wherewatt.archive.partition import bit_of, cut, most_rides, ride_of

NUMBERS = st.sets(st.text(max_size=6).map(ride_of), min_size=1, max_size=60)


@given(NUMBERS, st.integers(1, 9))
def test_every_ride_is_in_the_part_that_it_begins_with(rides: set[str], most: int) -> None:
    parts = cut(rides, most)
    assert sorted(ride for part in parts for ride in part.rides) == sorted(rides)
    for part in parts:
        assert 1 <= len(part.rides) <= most
        for ride in part.rides:
            bits = "".join(str(bit_of(ride, depth)) for depth in range(len(part.name) - 1))
            assert part.name == f"p{bits}"
            assert f"{int(ride, 16):0128b}".startswith(bits)


@given(NUMBERS, st.integers(1, 9), st.text(max_size=6).map(ride_of))
def test_one_more_ride_changes_one_part(rides: set[str], most: int, more: str) -> None:
    before, after = cut(rides, most), cut(rides | {more}, most)
    assert len(set(before) - set(after)) <= 1


@given(NUMBERS)
def test_order_does_not_matter(rides: set[str]) -> None:
    assert cut(sorted(rides), 4) == cut(sorted(rides, reverse=True), 4)


@pytest.mark.parametrize(
    ("rides", "most"), [(1, 1), (10, 1), (64, 2), (1000, 16), (10_000, 64), (1_000_000, 64)]
)
def test_parts_are_neither_tiny_nor_huge(rides: int, most: int) -> None:
    assert most_rides(rides) == most
    if rides <= 10_000:
        parts = cut((ride_of(f"{number}.gpx") for number in range(rides)), most)
        # A tree of random numbers is filled to ln 2 = 0.69 (Knuth 1998, The Art of Computer
        # Programming, vol. 3, section 6.3, on tries with buckets).
        assert len(parts) == pytest.approx(rides / (0.69 * most), rel=0.5)


def test_number_is_the_hash_of_the_path() -> None:
    assert ride_of("a/ride.gpx") == hashlib.sha256(b"a/ride.gpx").hexdigest()[:32]
    assert ride_of("not \udcff text.gpx") != ride_of("not \udcfe text.gpx")
