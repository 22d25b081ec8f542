"""Three accounts of a ride's energy that know nothing of each other, before any is believed.

The handbook's: track, masses, surfaces and wind of the sheet. The display's: its fall times the
usable capacity. The recharge's. Each has its own standard deviation, so two that lie too far apart
tell that something they rest on is wrong (a prior predictive check: Box 1980, J. R. Stat. Soc. A
143:383).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.verdict import robust_residuals
from wherewatt.arrays import FloatArray

# Efficiency of the median slope for normal errors (Sen 1968, J. Am. Stat. Assoc. 63:1379: 0.91 …
# 0.955): its variance over that of least squares.
_MEDIAN_SLOPE = 1.1
_FEWEST_CALL_OUTS = 3


@dataclass(frozen=True, slots=True)
class Account:
    """An energy of the whole ride, known beforehand to some ratio.

    Parameters
    ----------
    wh : the energy [Wh]; positive.
    spread : standard deviation of its logarithm.
    """

    wh: float
    spread: float

    def apart(self, other: Account) -> float:
        """Difference of two accounts in standard deviations, positive where this one is more."""
        return float(np.log(self.wh / other.wh) / np.hypot(self.spread, other.spread))


@dataclass(frozen=True, slots=True)
class Fall:
    """By how much the display would fall over the whole ride if it showed energy [points]."""

    points: float
    sd: float


def handbook_account(estimate: Estimate) -> Account | None:
    """What the ride takes by what was known before it; None where that is nothing."""
    before = estimate.beforehand
    wh = float(before.wh.sum())
    by_score = before.of_parameters.sum(axis=0)
    # What is unknown of stretches and of height changes little from before to after.
    others = estimate.cell_energy.total_slopes[len(by_score) :]
    if wh <= 0.0:
        return None
    return Account(wh, float(np.hypot(np.linalg.norm(by_score), np.linalg.norm(others))) / wh)


def recharge_account(estimate: Estimate) -> Account | None:
    """What was put back, by a meter at the pack or through the charger; None if not told."""
    recharge, settings = estimate.evidence.recharge, estimate.evidence.settings
    if recharge.metered_wh is not None:
        return Account(recharge.metered_wh, settings.metered_spread)
    if recharge.wall_energy_wh is None:
        return None
    parameters = estimate.evidence.parameters
    prior = parameters.items[parameters.index["charger_efficiency"]].prior
    spread = float(np.hypot(prior.spread / prior.center, settings.wall_energy_spread))
    return Account(recharge.wall_energy_wh * prior.center, spread)


def display_fall(estimate: Estimate) -> Fall | None:
    """How far the display fell over the whole ride; None where the call-outs do not tell.

    The median slope of percent over the share of the energy used by then (Theil 1950; Sen 1968) is
    not led astray by misread call-outs. What bend, sag and delay of the display add to it is taken
    off as they are thought of before the ride, and counts as doubt.
    """
    shown = estimate.evidence.shown
    share = _used_share(estimate)
    if len(shown) < _FEWEST_CALL_OUTS or np.ptp(share) <= 0.0:
        return None
    middle = share - share.mean()
    per_share = -middle / float(middle @ middle)  # slope of least squares, as weights
    points = -_median_slope(shown.percent, share)
    variance = _MEDIAN_SLOPE * float(np.square(per_share) @ np.square(_callout_sd(estimate)))
    parameters = estimate.evidence.parameters
    origin = parameters.slopes(np.zeros(len(parameters)))
    for name, slope in estimate.display.slopes.items():
        if not name.startswith("display_"):
            continue
        added = float(per_share @ slope)
        points -= added * parameters.items[parameters.index[name]].prior.center
        variance += (added * origin[name]) ** 2
    return Fall(points, float(np.sqrt(variance)))


def _median_slope(y: FloatArray, x: FloatArray) -> float:
    """Median of the slopes between any two points (Sen 1968, J. Am. Stat. Assoc. 63:1379).

    As `scipy.stats.theilslopes` has it, which loads slowly.
    """
    rise, run = np.subtract.outer(y, y), np.subtract.outer(x, x)
    ahead = run > 0.0
    return float(np.median(rise[ahead] / run[ahead]))


def display_account(estimate: Estimate, fall: Fall | None) -> Account | None:
    """The display's fall times the usable capacity; None where the fall is not clear."""
    if fall is None or fall.points <= 2.0 * fall.sd:
        return None
    parameters = estimate.evidence.parameters
    capacity = parameters.items[parameters.index["battery_usable_wh"]].prior
    spread = float(np.hypot(capacity.spread, fall.sd / fall.points))
    return Account(capacity.center * fall.points / 100.0, spread)


def _used_share(estimate: Estimate) -> FloatArray:
    """(m,) share of the ride's energy that was used by each call-out [1]."""
    used = np.concatenate([[0.0], np.cumsum(estimate.cell_energy.wh)])
    share = used[estimate.cells.before] / used[-1] if used[-1] > 0.0 else np.zeros(len(used))
    return np.asarray(share[: len(estimate.cells.before)])


def _callout_sd(estimate: Estimate) -> FloatArray:
    """(m,) standard deviation of the call-outs [points], misreading apart."""
    settings, shown = estimate.evidence.settings, estimate.evidence.shown
    residual = shown.percent - estimate.display.percent
    sds = robust_residuals(estimate)
    least = float(np.hypot(settings.callout_sd_points, settings.rounding_sd_points))
    known = np.abs(sds) > 1e-6  # one that fits exactly does not tell
    return np.divide(residual, sds, out=np.full_like(residual, least), where=known)
