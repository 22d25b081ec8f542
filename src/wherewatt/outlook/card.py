"""What a person can write on a card: at this place, turn back if the display shows less than that.

A row is a rule that can be followed without thinking: who goes on only where the display shows
enough to reach the next row and to get home from there never finds out too late. It holds whatever
the charge was at the start, for it rests on the display at that place alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import FloatArray
from wherewatt.outlook.draws import Draws
from wherewatt.outlook.out_and_home import OutAndHome
from wherewatt.physics.battery import cell_of, charge_surplus

FULL_PCT = 100


@dataclass(frozen=True, slots=True)
class CardRow:
    """What to do at one place.

    Parameters
    ----------
    at_m : distance from the start [m].
    go_on_pct : turn back if the display shows less [%]; above 100 nothing suffices; None at the
        end of the way.
    home_pct : the way home is not as sure as asked if the display shows less [%].
    onward : True where the shortest sure way home is to go on round the loop.
    """

    at_m: float
    go_on_pct: int | None
    home_pct: int
    onward: bool


@dataclass(frozen=True, slots=True)
class Card:
    """The rows of a card, from the start to the end of the way."""

    rows: tuple[CardRow, ...]


def card_of(
    ways: OutAndHome,
    at_m: FloatArray,
    reserve: float,
    wanted: float,
    *,
    loop: bool,
    settings: EstimateSettings,
) -> Card:
    """Rows for some places.

    Parameters
    ----------
    at_m : (k,) places in order, from the start to the end of the way [m].
    reserve : share of the usable energy that is to be left [1].
    wanted : how sure the way home has to be [1].
    loop : True if the end of the way is home too.
    """
    display = _Display(ways.draws, reserve, wanted, settings)
    need_home = ways.at(at_m, ways.need_home_wh)
    out = ways.at(at_m, ways.out_wh)
    by_next = np.maximum(_peaks(ways, at_m), np.diff(out, axis=1) + need_home[:, 1:])
    back = display.least_pct(need_home)
    go_on = display.least_pct(by_next)
    further = [*go_on.astype(int).tolist(), None]
    rows = zip(at_m.tolist(), further, back.astype(int).tolist(), strict=True)
    if not loop:
        return Card(tuple(CardRow(*row, onward=False) for row in rows))
    ahead = display.least_pct(ways.at(at_m, ways.need_on_wh)).astype(int).tolist()
    return Card(
        tuple(
            _either_way(CardRow(*row, onward=False), on)
            for row, on in zip(rows, ahead, strict=True)
        )
    )


def _either_way(row: CardRow, onward_pct: int) -> CardRow:
    """A row of a loop: home may be back or on, whichever asks for less."""
    return CardRow(
        at_m=row.at_m,
        go_on_pct=None if row.go_on_pct is None else min(row.go_on_pct, onward_pct),
        home_pct=min(row.home_pct, onward_pct),
        onward=onward_pct < row.home_pct,
    )


def _peaks(ways: OutAndHome, at_m: FloatArray) -> FloatArray:
    """(d, k−1) the most that is drawn at any time between one place and the next [Wh]."""
    peaks = []
    for start, end in zip(at_m[:-1].tolist(), at_m[1:].tolist(), strict=True):
        inside = ways.at_m[(ways.at_m > start) & (ways.at_m < end)]
        used = ways.at(np.concatenate([[start], inside, [end]]), ways.out_wh)
        peaks.append(used.max(axis=1) - used[:, 0])
    return np.stack(peaks, axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class _Display:
    """What a display at rest has to show, so that enough is there as surely as asked."""

    draws: Draws
    reserve: float
    wanted: float
    settings: EstimateSettings

    def least_pct(self, need_wh: FloatArray) -> FloatArray:
        """(k,) least whole percent for needs (d, k) [Wh]; 101 where even a full pack is too small.

        A draw in which more is shown than this, its own error included, has what it needs.
        """
        capacity = self.draws.column("battery_usable_wh")[:, None]
        share = self.reserve + need_wh / capacity
        surplus, _ = charge_surplus(
            share, cell_of(self.draws.known.vehicle.sheet.battery_chemistry)
        )
        bend = self.draws.column("display_bend")[:, None]
        shown = 100.0 * (share + bend * surplus) + self._error(share)
        # Rounding up is on the safe side; what is a hair above a whole percent is that percent.
        least = np.ceil(np.quantile(shown, self.wanted, axis=0) - 1e-6)
        return np.asarray(np.where(least > FULL_PCT, FULL_PCT + 1, np.maximum(least, 0.0)))

    def _error(self, share: FloatArray) -> FloatArray:
        """(d, k) error of a display at rest [points]; near empty it says little."""
        settings = self.settings
        near_empty = 100.0 * share < settings.near_empty_pct
        sd = np.sqrt(
            settings.callout_sd_points**2
            + settings.rounding_sd_points**2
            + np.where(near_empty, settings.near_empty_sd_points**2, 0.0)
        )
        return np.asarray(sd * self.draws.reading[:, None])
