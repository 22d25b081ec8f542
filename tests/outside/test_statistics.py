"""Statistics that are worked out without scipy.stats, which is slow to load, against it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import digamma, polygamma
from scipy.stats import gamma, theilslopes

from wherewatt.allocate.accounts import _median_slope
from wherewatt.allocate.diagnostics import misfit_chance


@pytest.mark.parametrize("seed", range(20))
def test_median_slope(seed: int) -> None:
    """With ties in both, as call-outs have."""
    rng = np.random.default_rng(seed)
    x = np.sort(np.round(rng.uniform(0.0, 1.0, 3 + seed), 1 + seed % 2))
    y = np.round(100.0 - 60.0 * x + rng.normal(0.0, 3.0, len(x)))
    if np.ptp(x) > 0.0:
        assert _median_slope(y, x) == theilslopes(y, x)[0]


@pytest.mark.parametrize("dof", [3.0, 4.0, 10.0])
def test_misfit_chance(dof: float) -> None:
    residuals = np.random.default_rng(5).standard_t(dof, 12)
    misfit = (dof + 1.0) * np.log1p(residuals**2 / dof).sum()
    mean = (dof + 1.0) * (digamma((dof + 1.0) / 2.0) - digamma(dof / 2.0))
    spread = (dof + 1.0) ** 2 * (polygamma(1, dof / 2.0) - polygamma(1, (dof + 1.0) / 2.0))
    expected = gamma.sf(misfit, 12 * mean**2 / spread, scale=spread / mean)
    assert misfit_chance(residuals, dof) == pytest.approx(expected, rel=1e-12)
    assert 0.0 < expected < 1.0
