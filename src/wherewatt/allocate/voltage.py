"""Call-outs of voltage: the pack itself as an instrument.

What is read is the open-circuit voltage of the cells at their state of charge, times the cells in
series, less what the current loses in the pack's resistance. The curve of these very cells is not
known, nor the resistance, nor the meter: they are unknowns of their own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from wherewatt.allocate.callouts import Load
from wherewatt.allocate.parameters import Parameter
from wherewatt.allocate.series import HIGHEST_CELL_V, LOWEST_CELL_V, cells_in_series, plausible
from wherewatt.allocate.settings import Assumed, EstimateSettings, Prior
from wherewatt.allocate.temperature import resistance_at
from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.errors import Problem, SideFileError
from wherewatt.ingest.readings import CallOut, CallOutState
from wherewatt.ingest.sheet import RideSheet
from wherewatt.ingest.track import Note
from wherewatt.motion.locate import Locator
from wherewatt.physics.battery import (
    BLEND,
    TOWARDS_FLAT,
    TOWARDS_NCA,
    Cell,
    Chemistry,
    charge_left,
    open_circuit,
    open_circuits,
)
from wherewatt.text import counted

_MEAN_CELL_V = 3.65

# In what the curve of the cells may differ from that of their chemistry, by parameter.
_MODES = {"cell_towards_nca": TOWARDS_NCA, "cell_towards_flat": TOWARDS_FLAT}


@dataclass(frozen=True, slots=True, eq=False)
class ShownVoltage:
    """Call-outs of voltage, in order of time; arrays (m,).

    Parameters
    ----------
    time_s : when, since the start of the ride [s].
    distance_m : where, from the start [m].
    volts : what was shown [V].
    resting : True where the user said the vehicle rested.
    cells_in_series : of the pack.
    level_known : False if only changes of the voltage say something.
    notes : what was odd and what was done about it.
    """

    time_s: FloatArray
    distance_m: FloatArray
    volts: FloatArray
    resting: BoolArray
    cells_in_series: int
    level_known: bool
    notes: tuple[Note, ...] = ()

    def __len__(self) -> int:
        return len(self.time_s)


def no_voltage() -> ShownVoltage:
    """No call-out of voltage."""
    nothing = np.empty(0)
    return ShownVoltage(nothing, nothing, nothing, np.empty(0, dtype=bool), 1, True)


def shown_voltage(
    call_outs: Sequence[CallOut], locator: Locator, sheet: RideSheet, source: str
) -> ShownVoltage:
    """Place the call-outs of voltage on the ride; all of them lie within it.

    Raises
    ------
    SideFileError
        If no voltage can be one of such a pack.
    """
    read = [call_out for call_out in call_outs if math.isfinite(call_out.voltage_v)]
    if not read:
        return no_voltage()
    placed = [(locator.time_s(call_out.at), call_out) for call_out in read]
    placed.sort(key=lambda pair: (pair[0], pair[1].voltage_v, pair[1].state.value))
    read = [call_out for _, call_out in placed]
    volts = np.array([call_out.voltage_v for call_out in read])
    percent = np.array([call_out.battery_pct for call_out in read])
    vehicle = sheet.vehicle
    series = cells_in_series(volts, percent, vehicle.battery_nominal_v, vehicle.battery_chemistry)
    kept = plausible(volts, series.count)
    notes = []
    if series.told:
        notes.append(Note("cells-in-series", f"call-outs of voltage: {series.told}"))
    if not kept.all():
        notes.append(_set_aside(read, kept, series.count, source))
    time = np.array([at_s for at_s, _ in placed])[kept]
    return ShownVoltage(
        time_s=time,
        distance_m=np.asarray(np.interp(time, locator.ride.time_s, locator.ride.distance_m)),
        volts=volts[kept],
        resting=np.array([call_out.state is CallOutState.RESTING for call_out in read])[kept],
        cells_in_series=series.count,
        level_known=series.certain,
        notes=tuple(notes),
    )


def _set_aside(read: Sequence[CallOut], kept: BoolArray, count: int, source: str) -> Note:
    """A note of voltages that no such pack has; an error if there are no others."""
    odd = [call_out for call_out, good in zip(read, kept, strict=True) if not good]
    limits = f"{LOWEST_CELL_V * count:.1f} to {HIGHEST_CELL_V * count:.1f} V"
    if not kept.any():
        raise SideFileError(
            *(
                Problem(
                    source,
                    f"line {call_out.line}",
                    f"voltage_v {call_out.voltage_v:g}",
                    f"{limits} of {count} cells in series",
                    "mend it, or battery_nominal_v in the ride sheet",
                )
                for call_out in odd
            )
        )
    lines = ", ".join(f"{call_out.voltage_v:g} V in line {call_out.line}" for call_out in odd)
    found = counted(len(odd), "voltage")
    message = f"{found} set aside: {lines}; {count} cells in series have {limits}"
    return Note("voltage-set-aside", message)


def voltage_parameters(
    shown: ShownVoltage,
    sheet: RideSheet,
    *,
    priors: Mapping[str, Prior],
    assumed: Assumed,
) -> tuple[Parameter, ...]:
    """The unknowns that only a voltage tells of; none without one."""
    if not len(shown):
        return ()
    nominal_wh = sheet.vehicle.battery_nominal_wh or sheet.vehicle.battery_usable_wh
    unknown_size = 0.0 if nominal_wh else priors["battery_nominal_wh"].spread
    per_cell = resistance_at(priors["cell_resistance_ohm_ah"], sheet.weather.temperature_c, assumed)
    # s cells in series of r each, in as many strings as the energy needs: s²·3.65 V·(r·Ah)/Wh.
    per_charge = shown.cells_in_series**2 * _MEAN_CELL_V
    resistance = replace(
        per_cell,
        center=per_cell.center * per_charge / (nominal_wh or priors["battery_nominal_wh"].center),
        spread=float(np.hypot(per_cell.spread, unknown_size)),
        unit="Ω",
    )
    offset = priors["cell_offset_v"]
    if not shown.level_known:
        offset = replace(offset, spread=assumed.unknown_level_v)
    items = [Parameter("pack_resistance_ohm", resistance), Parameter("cell_offset_v", offset)]
    return (*items, *_curve_parameters(sheet.vehicle.battery_chemistry, priors))


def _curve_parameters(
    chemistry: Chemistry | None, priors: Mapping[str, Prior]
) -> tuple[Parameter, ...]:
    """In what the curve of these cells may differ from that of their chemistry."""
    if chemistry is Chemistry.LFP:
        return ()
    towards_nca = priors["cell_towards_nca"]
    if chemistry is not None:
        spread = towards_nca.stated_spread or towards_nca.spread
        towards_nca = replace(towards_nca, spread=spread, source="stated in the ride sheet")
    return (
        Parameter("cell_towards_nca", towards_nca),
        Parameter("cell_towards_flat", priors["cell_towards_flat"]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class VoltagePrediction:
    """What the meter should show, and how that depends on the unknowns; arrays (m,) first.

    Parameters
    ----------
    volts : predicted voltage [V].
    per_used : derivative with respect to the energy used so far [V/Wh].
    slopes : derivative with respect to each parameter's value.
    """

    volts: FloatArray
    per_used: FloatArray
    slopes: dict[str, FloatArray]


def predict_voltage(
    shown: ShownVoltage,
    used_wh: FloatArray,
    load: Load,
    values: Mapping[str, float],
    *,
    cell: Cell = BLEND,
    settings: EstimateSettings,
) -> VoltagePrediction:
    """Predict the voltage at each call-out.

    Parameters
    ----------
    used_wh : (m,) energy used before each call-out [Wh].
    load : what the battery was doing.
    values : parameter values.
    cell : what the pack is made of.
    """
    capacity, series = values["battery_usable_wh"], shown.cells_in_series
    left = values["start_charge"] - used_wh / capacity
    charge, per_energy = charge_left(left, cell)
    modes = [name for name in _MODES if name in values]
    levels, tilts = open_circuits(charge, (cell, *(_MODES[name] for name in modes)))
    share = np.array([1.0, *(values[name] for name in modes)])
    level, slope = share @ levels, share @ tilts
    current = _felt_current(shown, load, settings.slow_sag_share)
    slopes = {"pack_resistance_ohm": -current, "cell_offset_v": np.full(len(shown), float(series))}
    slopes |= dict(zip(modes, series * levels[1:], strict=True))
    volts = series * (level + values["cell_offset_v"]) - values["pack_resistance_ohm"] * current
    per_left = series * slope * per_energy
    slopes["start_charge"] = per_left
    slopes["battery_usable_wh"] = per_left * used_wh / capacity**2
    return VoltagePrediction(volts, -per_left / capacity, slopes)


def voltage_sd(
    shown: ShownVoltage,
    load: Load,
    *,
    cell: Cell = BLEND,
    settings: EstimateSettings,
) -> FloatArray:
    """(m,) standard deviation of a call-out that is not misread [V].

    The meter's last digit, what is left of the curve's error (more where it is steep, for nobody
    knows where empty is), and the current at the very moment.
    """
    charge = charge_left(load.left, cell)[0]
    steep = np.maximum(open_circuit(charge, cell)[1], 0.0) * settings.cell_charge_sd
    sag = load.pack_ohm * _felt_current(shown, load, settings.slow_sag_share)
    return np.sqrt(
        settings.voltage_step_v**2 / 12.0
        + shown.cells_in_series**2 * (settings.cell_sd_v**2 + np.square(steep))
        + np.square(settings.sag_doubt * sag)
    )


def start_from_voltage(shown: ShownVoltage, used_share: FloatArray, cell: Cell = BLEND) -> float:
    """Share of the energy at the start that the voltages suggest, the sag left aside."""
    left = np.linspace(0.0, 1.0, 401)
    curve = open_circuit(charge_left(left, cell)[0], cell)[0]
    level = np.interp(shown.volts / shown.cells_in_series, curve, left)
    return float(np.median(level + used_share))


@lru_cache(maxsize=1)  # the same in all steps of a round
def _felt_current(shown: ShownVoltage, load: Load, slow: float) -> FloatArray:
    """(m,) current under which the voltage sags [A]: most of it at once, the rest by and by.

    At rest only the slow part is left of what was; it recovers within a minute or so.
    """
    now = np.where(shown.resting, 0.0, load.now_w)
    return np.asarray(((1.0 - slow) * now + slow * load.lately_w) / shown.volts)
