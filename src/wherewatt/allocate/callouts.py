"""The battery display as a measuring instrument, and a bad one.

What is shown is not what is left: whole percent, refreshed now and then, bent between charge and
energy, sagging under load, collapsing near empty, sometimes misread. Each call-out is predicted
with those errors as unknowns of their own, and weighed with heavy tails (Student's t; Lange,
Little and Taylor 1989, J. Am. Stat. Assoc. 84:881).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wherewatt.allocate.settings import EstimateSettings
from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.errors import Problem, SideFileError
from wherewatt.ingest.readings import CallOut, CallOutState
from wherewatt.motion.locate import Locator
from wherewatt.physics.battery import NMC811, Cell, charge_surplus


@dataclass(frozen=True, slots=True, eq=False)
class ShownPercent:
    """Call-outs of percent, in order of time; arrays (m,).

    Parameters
    ----------
    time_s : when, since the start of the ride [s].
    distance_m : where, from the start [m].
    percent : what was shown [%].
    resting : True where the user said the vehicle rested.
    """

    time_s: FloatArray
    distance_m: FloatArray
    percent: FloatArray
    resting: BoolArray

    def __len__(self) -> int:
        return len(self.time_s)


def shown_percent(call_outs: Sequence[CallOut], locator: Locator, source: str) -> ShownPercent:
    """Place the call-outs on the ride.

    Raises
    ------
    SideFileError
        If a call-out lies outside the ride; all of them at once.
    """
    problems: list[Problem] = []
    rows: list[tuple[float, float, bool]] = []
    for call_out in call_outs:
        try:
            at_s = locator.time_s(call_out.at)
        except ValueError as error:
            found = f"a call-out at {call_out.at.text}"
            problems.append(Problem(source, f"line {call_out.line}", found, str(error)))
            continue
        if math.isfinite(call_out.battery_pct):
            rows.append((at_s, call_out.battery_pct, call_out.state is CallOutState.RESTING))
    if problems:
        raise SideFileError(*problems)
    rows.sort()
    time = np.array([row[0] for row in rows])
    return ShownPercent(
        time_s=time,
        distance_m=np.asarray(np.interp(time, locator.ride.time_s, locator.ride.distance_m)),
        percent=np.array([row[1] for row in rows]),
        resting=np.array([row[2] for row in rows], dtype=bool),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """What the display should show, and how that depends on the unknowns; arrays (m,) first.

    Parameters
    ----------
    percent : predicted percent.
    per_used : derivative with respect to the energy used so far [points/Wh].
    slopes : derivative with respect to each parameter's value.
    """

    percent: FloatArray
    per_used: FloatArray
    slopes: dict[str, FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """What the battery was doing at the call-outs; arrays (m,).

    Held fixed while the estimate is made and renewed from its result: it shifts the display by
    little, and a display's error must not be explained by moving the load about.

    Parameters
    ----------
    now_w : battery power over the last seconds [W], under which the voltage sags.
    lately_w : battery power over the last minute [W], which a late display misses.
    used_share, left : shares of the energy that are used and that remain [1].
    capacity_wh : usable capacity [Wh].
    pack_ohm : resistance of the pack [Ω]; zero where no voltage was read.
    at_voltage : the same at the call-outs of voltage, where there are any.
    """

    now_w: FloatArray
    lately_w: FloatArray
    used_share: FloatArray
    left: FloatArray
    capacity_wh: float
    pack_ohm: float = 0.0
    at_voltage: Load | None = None


def display_sd(load: Load, settings: EstimateSettings) -> FloatArray:
    """(m,) standard deviation of a call-out that is not misread [points].

    Rounding, what is unknown of a display, the time since it was refreshed, and the collapse
    near empty.
    """
    late = 100.0 * load.lately_w / 3600.0 / load.capacity_wh
    near_empty = 100.0 * load.left < settings.near_empty_pct
    return np.sqrt(
        settings.callout_sd_points**2
        + settings.rounding_sd_points**2
        + np.square(settings.refresh_s * late) / 12.0
        + np.where(near_empty, settings.near_empty_sd_points**2, 0.0)
    )


@lru_cache(maxsize=1)  # the same in all steps of a round
def _sag_kw(shown: ShownPercent, load: Load) -> FloatArray:
    """(m,) power under which the display sags [kW]."""
    return np.where(shown.resting, 0.0, np.maximum(load.now_w, 0.0)) / 1000.0


def predict_display(
    shown: ShownPercent,
    used_wh: FloatArray,
    load: Load,
    values: Mapping[str, float],
    cell: Cell = NMC811,
) -> Prediction:
    """Predict what the display shows at each call-out.

    Parameters
    ----------
    used_wh : (m,) energy used before each call-out [Wh].
    load : what the battery was doing.
    values : parameter values.
    cell : what the pack is made of: how far percent of charge is from percent of energy.
    """
    capacity = values["battery_usable_wh"]
    used_share = used_wh / capacity
    left = values["start_charge"] - used_share
    surplus, bend_slope = charge_surplus(left, cell)
    sag_kw = _sag_kw(shown, load)
    late = load.lately_w * (100.0 / 3600.0 / capacity)
    missed = values["display_delay_s"] * late
    percent = (
        100.0 * (left + values["display_bend"] * surplus) - values["display_sag"] * sag_kw + missed
    )
    per_left = 100.0 * (1.0 + values["display_bend"] * bend_slope)
    slopes = {
        "start_charge": per_left,
        "battery_usable_wh": (per_left * used_share - missed) / capacity,
        "display_bend": 100.0 * surplus,
        "display_sag": -sag_kw,
        "display_delay_s": late,
    }
    # A display cannot show more than full or less than empty: beyond, it says nothing.
    beyond = (percent > 100.0) | (percent < 0.0)
    if beyond.any():
        says_nothing = beyond & np.where(
            percent > 100.0, shown.percent >= 100.0, shown.percent <= 0.0
        )
        percent = np.where(says_nothing, shown.percent, percent)
        per_left = np.where(says_nothing, 0.0, per_left)
        slopes = {name: np.where(says_nothing, 0.0, slope) for name, slope in slopes.items()}
    return Prediction(percent, -per_left / capacity, slopes)
