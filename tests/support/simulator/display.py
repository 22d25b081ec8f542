"""The battery display, and the tester who reads it aloud.

The display is a bad instrument on purpose: a mix of counted charge and loaded voltage, filtered,
refreshed now and then, in whole percent, sagging under load, recovering at rest, jumping at
times, collapsing near empty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .battery import Battery, Discharge
from .noise import FloatArray

MILE_M = 1609.344


@dataclass(frozen=True, slots=True)
class CallOut:
    """One reading of the display, as spoken.

    Attributes
    ----------
    at : str
        Where or when, as written in the readings file.
    battery_pct : int
        Percent as noted down.
    state : str
        ``"riding"``, ``"resting"`` or empty.
    voltage_v : float
        Pack voltage read with it [V]; NaN where the display shows none.
    time_s : float
        When it truly was, since the start [s].
    shown_pct : int
        What the display truly showed then; differs from `battery_pct` where it was misheard.
    """

    at: str
    battery_pct: int
    state: str
    voltage_v: float
    time_s: float
    shown_pct: int


def display_percent(
    battery: Battery, pack: Discharge, dt_s: float, rng: np.random.Generator
) -> FloatArray:
    """What the display shows at every instant.

    Parameters
    ----------
    battery : Battery
        The pack.
    pack : Discharge
        Its course over the ride.
    dt_s : float
        Length of a step [s].
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    array, shape (n + 1,)
        Whole percent.
    """
    counted = _counted(battery, pack, rng)
    by_voltage = _by_voltage(battery, pack, dt_s, rng)
    weight = rng.uniform(0.35, 0.9)
    percent = 100.0 * (weight * counted + (1.0 - weight) * by_voltage)
    # Near empty the under-voltage warning takes over.
    percent = np.where(pack.soc < 0.08, percent * np.clip(pack.soc / 0.08, 0.0, 1.0), percent)
    return _refreshed(percent, dt_s, rng)


def _counted(battery: Battery, pack: Discharge, rng: np.random.Generator) -> FloatArray:
    """Charge counted by a meter with a wrong idea of capacity and of where it began."""
    believed = 1.0 + rng.normal(0.0, 0.03)
    start = battery.start_soc
    if start < 1.0:  # a full pack resets the meter; a part-charged one does not
        start += rng.normal(0.0, 0.015)
    return start - (battery.start_soc - pack.soc) / believed


def _by_voltage(
    battery: Battery, pack: Discharge, dt_s: float, rng: np.random.Generator
) -> FloatArray:
    """State of charge that a voltmeter with partial sag compensation would infer, filtered."""
    curve_v = battery.curve_v()
    current_a = -np.diff(pack.soc, append=pack.soc[-1]) * battery.charge_ah * 3600.0 / dt_s
    compensated_v = pack.voltage_v + rng.uniform(0.2, 0.9) * battery.resistance_ohm * current_a
    inferred = np.interp(compensated_v, curve_v, np.linspace(0.0, 1.0, curve_v.size))
    keep = math.exp(-dt_s / rng.uniform(25.0, 90.0))
    value = float(inferred[0])
    filtered = []
    for x in inferred.tolist():
        value += (1.0 - keep) * (x - value)
        filtered.append(value)
    return np.array(filtered)


def _refreshed(percent: FloatArray, dt_s: float, rng: np.random.Generator) -> FloatArray:
    interval_s = rng.uniform(20.0, 120.0)
    whole = np.floor if rng.random() < 0.3 else np.rint
    shown = np.empty(percent.size)
    at = 0
    while at < percent.size:
        until = at + max(1, round(interval_s * rng.uniform(0.7, 1.3) / dt_s))
        glitch = rng.choice([-1.0, 1.0]) * rng.uniform(5.0, 30.0) if rng.random() < 0.005 else 0.0
        shown[at:until] = np.clip(whole(percent[at] + glitch), 0.0, 100.0)
        at = until
    return shown


@dataclass(frozen=True, slots=True)
class Sight:
    """What the tester sees over the ride, at n + 1 instants.

    Attributes
    ----------
    time_s : array
        Time since the recording began [s].
    distance_m : array
        Distance as shown to the rider [m].
    shown_pct : array
        The battery display.
    voltage_v : array
        Pack voltage [V].
    standing : bool array
        Whether the vehicle has stood for ten seconds at least.
    start_unix_s : float
        Clock time of the start [s since 1970].
    length_m : float
        True length of the ride on the map [m]: no reading is spoken beyond it.
    """

    time_s: FloatArray
    distance_m: FloatArray
    shown_pct: FloatArray
    voltage_v: FloatArray
    standing: np.ndarray
    start_unix_s: float
    length_m: float


def call_outs(sight: Sight, units: str, rng: np.random.Generator) -> tuple[CallOut, ...]:
    """Read the display every few kilometres.

    Parameters
    ----------
    sight : Sight
        What there is to see.
    units : str
        ``"km"`` or ``"mi"``: what distances are spoken in.
    rng : numpy.random.Generator
        Source of randomness.
    """
    manner = "elapsed" if rng.random() < 0.12 else "clock" if rng.random() < 0.05 else "distance"
    reads_volts = rng.random() < 0.2
    last = sight.time_s.size - 1
    readings = []
    for at in _reading_steps(sight, rng):
        shown = int(sight.shown_pct[at])
        state = "resting" if sight.standing[at] else "riding"
        volts = round(float(sight.voltage_v[at]), 1) if reads_volts else math.nan
        readings.append(
            CallOut(
                at=_spoken(sight, at, last, units, manner),
                battery_pct=_heard(shown, rng) if at > 0 else shown,
                state="" if rng.random() < 0.1 else state,
                voltage_v=volts,
                time_s=float(sight.time_s[at]),
                shown_pct=shown,
            )
        )
    return tuple(readings)


def _reading_steps(sight: Sight, rng: np.random.Generator) -> list[int]:
    interval_m = rng.uniform(1_500.0, 4_000.0)
    total_m = sight.distance_m[-1]
    steps = [0]
    place_m = interval_m * rng.uniform(0.8, 1.2)
    while place_m < total_m - 600.0:
        at = int(np.searchsorted(sight.distance_m, place_m))
        window = slice(at, int(np.searchsorted(sight.distance_m, place_m + 300.0)))
        rests = np.flatnonzero(sight.standing[window])
        if rests.size and rng.random() < 0.5:  # the next red light is a good moment
            at += int(rests[0])
        steps.append(at)
        place_m += interval_m * rng.uniform(0.85, 1.15)
    steps.append(sight.time_s.size - 1)
    return steps


def _spoken(sight: Sight, at: int, last: int, units: str, manner: str) -> str:
    if manner == "distance":
        unit_m = MILE_M if units == "mi" else 1_000.0
        # Rounding up past the end of the ride would put the reading outside it.
        end_m = min(sight.distance_m[last], sight.length_m)
        most = math.floor(10.0 * end_m / unit_m) / 10.0
        return f"{min(round(sight.distance_m[at] / unit_m, 1), most):.1f} {units}"
    second = min(round(sight.time_s[at]), math.floor(sight.time_s[last]))
    if manner == "clock":
        return _iso(sight.start_unix_s + second)
    minutes = second // 60  # people say whole minutes
    return f"{minutes // 60}:{minutes % 60:02d}:00"


def _iso(unix_s: float) -> str:
    return f"{np.datetime64(int(unix_s), 's')}Z"


def _heard(shown: int, rng: np.random.Generator) -> int:
    """Return what was noted down: in one case of twenty, ten off or a wrong last digit."""
    if rng.random() > 0.05:
        return shown
    if rng.random() < 0.5:
        return int(np.clip(shown + rng.choice([-10, 10]), 0, 100))
    return min(100, shown // 10 * 10 + int(rng.integers(0, 10)))
