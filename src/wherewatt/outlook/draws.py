"""Many possible rides, for questions that are not linear: how far, what is left, how likely.

Parameters, stretches and the charge at the start are drawn together. The energy follows the
parameters to first order, and the wind to second: their covariance was found that way too, and
holds along curves that a draw far out would leave (MacKay 1992, Neural Comput. 4:448, on
predictions from a Laplace approximation; value from memory). The draws come in pairs of opposite
sign (antithetic variates: Hammersley and Morton 1956, Proc. Camb. Phil. Soc. 52:449), and scenarios
are compared draw by draw, so that what they have in common cancels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.parameters import value_of
from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.outlook.demand import Demand
from wherewatt.outlook.settings import OutlookSettings
from wherewatt.outlook.vehicle import Known
from wherewatt.physics.battery import Cell, cell_of, charge_surplus

_WELL_KNOWN = 1.5  # standard deviations by which a demand is above zero, to be taken as log-normal
_LEVELS = 1001  # steps of the charge at which a display is looked up


@dataclass(frozen=True, slots=True)
class Spread:
    """A number of which many draws were made: their median and 90 % interval."""

    median: float
    low90: float
    high90: float

    @classmethod
    def of(cls, draws: FloatArray) -> Spread:
        """Quantiles of draws (d,); where draws are infinite, so may they be."""
        median, low, high = np.quantile(draws, [0.5, 0.05, 0.95], method="inverted_cdf")
        return cls(float(median), float(low), float(high))

    def times(self, factor: float) -> Spread:
        """The same in another unit."""
        return Spread(self.median * factor, self.low90 * factor, self.high90 * factor)


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Possible vehicles and days; d draws.

    Parameters
    ----------
    known : the parameters that were drawn from.
    scores : (d, p) their scores.
    stretch : (d, s) unit normal number of each stretch.
    reading : (d,) unit normal number of the display's error before setting out.
    """

    known: Known
    scores: FloatArray
    stretch: FloatArray
    reading: FloatArray

    def __len__(self) -> int:
        return len(self.scores)

    def column(self, name: str) -> FloatArray:
        """(d,) values of one parameter."""
        number = self.known.parameters.index[name]
        prior = self.known.parameters.items[number].prior
        return np.array([value_of(prior, score) for score in self.scores[:, number].tolist()])


@dataclass(frozen=True, slots=True, eq=False)
class Used:
    """Energy used along possible rides.

    Parameters
    ----------
    at_m : (m,) distances from the start, first and last point included [m].
    time_s : (m,) when they are reached [s].
    wh : (d, m) energy used by then [Wh].
    """

    at_m: FloatArray
    time_s: FloatArray
    wh: FloatArray

    def up_to(self, distance_m: FloatArray) -> FloatArray:
        """(d, k) energy used up to some distances (k,) [Wh]."""
        after = np.clip(np.searchsorted(self.at_m, distance_m), 1, len(self.at_m) - 1)
        before = after - 1
        length = self.at_m[after] - self.at_m[before]
        share = np.divide(
            distance_m - self.at_m[before], length, out=np.ones(len(after)), where=length > 0.0
        )
        return np.asarray(self.wh[:, before] * (1.0 - share) + self.wh[:, after] * share)


def draw(known: Known, stretches: int, settings: OutlookSettings) -> Draws:
    """Draw vehicles and days; the same question gets the same draws."""
    p = len(known.parameters)
    rng = np.random.default_rng(settings.seed)
    half = rng.standard_normal((settings.draws // 2, p + 1 + stretches))
    normal = np.concatenate([half, -half])
    return Draws(known, known.drawn(normal[:, :p]), normal[:, p + 1 :], normal[:, p])


def used_by(draws: Draws, demand: Demand, settings: OutlookSettings) -> Used:
    """Energy used along the ride in every draw."""
    points = _points(demand, settings.point_m)
    used, step = demand.used_wh[points], draws.scores - draws.known.scores
    of_wind = step[:, demand.wind_bend.parameters]
    bend = np.einsum("di,mij,dj->dm", of_wind, demand.used_wind_bend[points], of_wind) / 2.0
    added = step @ demand.used_slopes[points].T + bend
    wh = np.exp(draws.stretch * demand.stretches.spread) @ demand.used_by_stretch[points].T
    total = float(used[-1])
    # The total keeps its sign, and the way to it what it differs by.
    if total > _WELL_KNOWN * demand.total.sd:
        wh *= np.exp(added[:, -1:] / total)
        added -= added[:, -1:] * used / total
    return Used(demand.drive.at_m[points], demand.drive.time_s[points], wh + added)


def _points(demand: Demand, point_m: float) -> IntArray:
    """Points of the ride about so far apart, the first and the last among them."""
    at = demand.drive.at_m
    wanted = np.linspace(0.0, at[-1], max(1, round(at[-1] / point_m)) + 1)
    number = np.searchsorted(at, wanted[1:-1])
    return np.unique(np.concatenate([[0], number, [len(at) - 1]]))


def start_share(draws: Draws, battery_pct: float | None, settings: EstimateSettings) -> FloatArray:
    """(d,) share of the energy at the start [1].

    Parameters
    ----------
    battery_pct : what the display shows at rest [%]; None or 100 for freshly charged.
    """
    if battery_pct is None or battery_pct >= 100.0:
        return np.ones(len(draws))
    error = np.hypot(settings.callout_sd_points, settings.rounding_sd_points) / 100.0
    charge = np.clip(battery_pct / 100.0 + error * draws.reading, 0.0, 1.0)
    level = np.linspace(0.0, 1.0, _LEVELS)
    surplus, _ = charge_surplus(level, _cell(draws))
    shares = [
        np.interp(shown, np.maximum.accumulate(level + bend * surplus), level)
        for shown, bend in zip(charge, draws.column("display_bend"), strict=True)
    ]
    return np.array(shares)


def shown_pct(draws: Draws, left: FloatArray) -> FloatArray:
    """(d, m) what a display shows at rest [%] at shares (d, m) of the energy that are left."""
    surplus, _ = charge_surplus(left, _cell(draws))
    bend = draws.column("display_bend")[:, None]
    return np.asarray(np.clip(100.0 * (left + bend * surplus), 0.0, 100.0))


def reach_m(used: Used, energy_wh: FloatArray) -> FloatArray:
    """(d,) distance at which an energy is spent, riding the course again and again [m].

    Infinite where a lap takes nothing and never reaches so deep.

    Parameters
    ----------
    energy_wh : (d,) what may be spent [Wh].
    """
    return np.array(
        [_reach(row, used.at_m, energy) for row, energy in zip(used.wh, energy_wh, strict=True)]
    )


def _reach(used: FloatArray, at_m: FloatArray, energy_wh: float) -> float:
    if energy_wh <= 0.0:
        return 0.0
    lap, deepest = float(used[-1]), np.maximum.accumulate(used)
    laps = 0
    if energy_wh > deepest[-1]:
        if lap <= 0.0:
            return np.inf
        laps = int(np.ceil((energy_wh - float(deepest[-1])) / lap))
    rest = energy_wh - laps * lap
    after = int(np.searchsorted(deepest, rest))
    if after == 0:
        return laps * float(at_m[-1])
    before = float(deepest[after - 1])
    part = (rest - before) / (float(deepest[after]) - before)
    return laps * float(at_m[-1]) + float(at_m[after - 1] + part * (at_m[after] - at_m[after - 1]))


def _cell(draws: Draws) -> Cell:
    return cell_of(draws.known.vehicle.sheet.battery_chemistry)
