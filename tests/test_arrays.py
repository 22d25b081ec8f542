"""Array helpers against numpy and plain loops."""

from __future__ import annotations

from itertools import groupby

import numpy as np
import pytest

from wherewatt.arrays import median, runs


@pytest.mark.parametrize("count", [1, 2, 3, 10, 16_384, 16_385, 40_000, 99_999])
def test_median_is_that_of_numpy(count: int) -> None:
    """Of noise with and without ties, of few values that occur often, and in order."""
    rng = np.random.default_rng(count)
    noise = rng.standard_cauchy(count)
    for values in (noise, np.round(noise, 1), np.sign(noise), np.sort(noise), np.zeros(count)):
        assert median(values) == np.median(values)


@pytest.mark.parametrize("count", [3, 20_000])
def test_median_of_what_is_missing_is_missing(count: int) -> None:
    values = np.arange(float(count))
    values[1] = np.nan
    assert np.isnan(median(values))
    assert np.isnan(median(values[:0]))


def test_median_where_a_sample_misleads() -> None:
    """Every value that the sample sees is high, all others are low."""
    values = np.arange(20_000.0)
    values[:: 20_000 // 1024] += 1e6
    assert median(values) == np.median(values)


def test_runs_are_those_of_a_loop() -> None:
    rng = np.random.default_rng(1)
    for size in [*range(8), 50]:
        for _ in range(20):
            mask = rng.random(size) < 0.5
            expected, at = [], 0
            for value, group in groupby(mask.tolist()):
                end = at + len(list(group))
                expected += [(at, end)] if value else []
                at = end
            assert runs(mask) == expected
