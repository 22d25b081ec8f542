"""The unknowns of one ride, and what they predict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from wherewatt.allocate.callouts import (
    Load,
    Prediction,
    ShownPercent,
    display_sd,
    predict_display,
)
from wherewatt.allocate.cells import CellEnergy, Cells, cell_energy, cut_cells
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.gauss_newton import Measurements
from wherewatt.allocate.loads import Loads, leg_loads
from wherewatt.allocate.parameters import natural
from wherewatt.allocate.voltage import (
    VoltagePrediction,
    predict_voltage,
    start_from_voltage,
    voltage_sd,
)
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.units import JOULES_PER_WATT_HOUR, STANDARD_GRAVITY_M_S2

_SAG_WINDOW_S = 15.0  # a display filters the voltage over some seconds; common practice, no source
_LATE_WINDOW_S = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """Everything at one set of scores."""

    loads: Loads
    energy: CellEnergy
    leg_factor: FloatArray
    display: Prediction
    voltage: VoltagePrediction | None
    measurements: Measurements


@dataclass(frozen=True, slots=True, eq=False)
class _Predicted:
    """What one set of scores predicts; `value_slopes` are the parameters' values by scores."""

    loads: Loads
    energy: CellEnergy
    leg_factor: FloatArray
    display: Prediction
    voltage: VoltagePrediction | None
    value_slopes: dict[str, float]


class RideProblem:
    """The unknowns of a ride and what they predict."""

    def __init__(self, evidence: Evidence) -> None:
        self.evidence = evidence
        cells = cut_cells(
            evidence.sections,
            _all_call_outs(evidence),
            evidence.settings,
            wind_speed_m_s=evidence.wind_speed_m_s,
        )
        self.before_voltage = cells.before[len(evidence.shown) :]
        self.cells = replace(cells, before=cells.before[: len(evidence.shown)])
        self.logged_wh = self._logged()
        self.cells = self.cells.each_alone(
            np.isfinite(self.logged_wh), evidence.settings.logged_stretch_spread
        )
        self.height_modes = _height_modes(evidence.height_covariance)
        self.p = len(evidence.parameters)
        self.unknowns = self.p + self.cells.stretches + self.height_modes.shape[1]

    def _logged(self) -> FloatArray:
        """(c,) energy of each cell as a logger measured it [Wh]; NaN where none did."""
        log, ride = self.evidence.pack_log, self.evidence.sections.ride
        if log is None:
            return np.full(len(self.cells.first_leg), np.nan)
        return log.between(ride.time_s[np.append(self.cells.first_leg, len(ride.standing))])

    def start(self) -> FloatArray:
        """The priors' centers, but with the charge at the start that the call-outs suggest."""
        scores = np.zeros(self.unknowns)
        evidence, parameters = self.evidence, self.evidence.parameters
        load = self.load_at(scores)
        if len(evidence.shown):
            at_start = float(np.median(evidence.shown.percent / 100.0 + load.used_share))
        elif load.at_voltage is not None:
            used = load.at_voltage.used_share
            at_start = start_from_voltage(evidence.voltage, used, evidence.cell)
        else:
            return scores
        number = parameters.index["start_charge"]
        prior = parameters.items[number].prior
        scores[number] = (at_start - prior.center) / prior.spread
        return scores

    def at(self, scores: FloatArray, load: Load) -> Point:
        """Everything the unknowns predict, with the load at the call-outs held fixed."""
        point = self._predict(scores, load)
        values = self.evidence.parameters.values(scores)
        return Point(
            point.loads,
            point.energy,
            point.leg_factor,
            point.display,
            point.voltage,
            self._measurements(point, load, values),
        )

    def _predict(self, scores: FloatArray, load: Load) -> _Predicted:
        evidence, cells = self.evidence, self.cells
        values = evidence.parameters.values(scores)
        rise = _height_error(self.height_modes, scores[self.p + cells.stretches :], evidence, cells)
        loads = leg_loads(replace(evidence.legs, rise_m=evidence.legs.rise_m + rise), values)
        slopes = evidence.parameters.slopes(scores)
        nothing = np.zeros_like(loads.battery_j)
        by_score = np.stack(
            [loads.slopes.get(name, nothing) * slope for name, slope in slopes.items()]
        )
        log_factors = cells.stretch_spread * scores[self.p : self.p + cells.stretches]
        energy = cell_energy(
            cells,
            loads,
            parameter_slopes=by_score,
            log_factors=log_factors,
            height_modes=self.height_modes,
            weight_n=values["mass_kg"] * STANDARD_GRAVITY_M_S2,
        )
        used = np.concatenate([[0.0], np.cumsum(energy.wh)])
        display = predict_display(
            evidence.shown, used[cells.before], load, values, cell=evidence.cell
        )
        voltage = self._voltage(used[self.before_voltage], load, values)
        legs = np.diff(np.append(cells.first_leg, len(loads.battery_j)))
        leg_factor = np.repeat(np.exp(log_factors)[cells.stretch], legs)
        return _Predicted(loads, energy, leg_factor, display, voltage, slopes)

    def _voltage(
        self, used_wh: FloatArray, load: Load, values: Mapping[str, float]
    ) -> VoltagePrediction | None:
        if load.at_voltage is None:
            return None
        evidence = self.evidence
        return predict_voltage(
            evidence.voltage,
            used_wh,
            load.at_voltage,
            values,
            cell=evidence.cell,
            settings=evidence.settings,
        )

    def load_at(self, scores: FloatArray) -> Load:
        """What the battery did at the call-outs, at given scores."""
        evidence, values = self.evidence, self.evidence.parameters.values(scores)
        nothing = np.zeros(len(evidence.shown))
        idle = Load(nothing, nothing, nothing, nothing, values["battery_usable_wh"])
        point = self._predict(scores, idle)
        joules = point.loads.battery_j * point.leg_factor
        counter_j = np.concatenate([[0.0], np.cumsum(joules)])
        load = self._load(evidence.shown.time_s, counter_j, values)
        if not len(evidence.voltage):
            return load
        at_voltage = self._load(evidence.voltage.time_s, counter_j, values)
        ohm = values["pack_resistance_ohm"]
        return replace(load, at_voltage=replace(at_voltage, pack_ohm=ohm))

    def _load(self, at_s: FloatArray, counter_j: FloatArray, values: Mapping[str, float]) -> Load:
        """What the battery did at given times, by the counter of its energy at the points."""
        time, capacity = self.evidence.sections.ride.time_s, values["battery_usable_wh"]
        counted = np.interp(at_s, time, counter_j)

        def mean_power(window_s: float) -> FloatArray:
            start = np.maximum(at_s - window_s, time[0])
            spent = counted - np.interp(start, time, counter_j)
            return np.asarray(spent / np.maximum(at_s - start, 1.0))

        used_share = counted / JOULES_PER_WATT_HOUR / capacity
        return Load(
            now_w=mean_power(_SAG_WINDOW_S),
            lately_w=mean_power(_LATE_WINDOW_S),
            used_share=used_share,
            left=values["start_charge"] - used_share,
            capacity_wh=capacity,
        )

    def _measurements(
        self, point: _Predicted, load: Load, values: dict[str, float]
    ) -> Measurements:
        shown, settings, display = self.evidence.shown, self.evidence.settings, point.display
        parts = [
            Measurements(
                residual=shown.percent - display.percent,
                slopes=self._call_out_slopes(
                    point, self.cells.before, display.per_used, display.slopes
                ),
                sd=display_sd(load, settings),
                dof=np.full(len(shown), settings.student_dof),
            ),
            *self._volts(point, load, values),
            *self._recharge(point, values),
            *self._measured_cells(point, values),
            *self._known(point, values),
            self._not_overfull(point, values["start_charge"]),
        ]
        return Measurements(
            *(
                np.concatenate([getattr(part, name) for part in parts])
                for name in Measurements.__dataclass_fields__
            )
        )

    def _call_out_slopes(
        self,
        point: _Predicted,
        before: IntArray,
        per_used: FloatArray,
        slopes: Mapping[str, FloatArray],
    ) -> FloatArray:
        """(m, u) derivative of predicted call-outs, of which `before` counts the cells."""
        so_far = np.vstack([np.zeros(self.unknowns), np.cumsum(point.energy.slopes, axis=0)])
        rows = per_used[:, None] * so_far[before]
        index = self.evidence.parameters.index
        for name, slope in slopes.items():
            rows[:, index[name]] += slope * point.value_slopes[name]
        return np.asarray(rows)

    def _volts(
        self, point: _Predicted, load: Load, values: Mapping[str, float]
    ) -> list[Measurements]:
        """Call-outs of voltage."""
        evidence, voltage = self.evidence, point.voltage
        if voltage is None or load.at_voltage is None:
            return []
        shown, settings = evidence.voltage, evidence.settings
        sd = voltage_sd(shown, load.at_voltage, cell=evidence.cell, settings=settings)
        slopes = self._call_out_slopes(point, self.before_voltage, voltage.per_used, voltage.slopes)
        dof = np.full(len(shown), settings.student_dof)
        return [Measurements(shown.volts - voltage.volts, slopes, sd, dof)]

    def _recharge(self, point: _Predicted, values: dict[str, float]) -> list[Measurements]:
        """Energy put back: metered at the pack, or at the wall through the charger.

        Each as the ratio of predicted to measured energy, which should be one.
        """
        recharge, settings = self.evidence.recharge, self.evidence.settings
        total, slopes = float(point.energy.wh.sum()), point.energy.slopes.sum(axis=0)
        parts = []
        if recharge.metered_wh is not None:
            metered = recharge.metered_wh
            parts.append(_normal(total / metered - 1.0, slopes / metered, settings.metered_spread))
        if recharge.wall_energy_wh is not None:
            efficiency = values["charger_efficiency"]
            ratio = total / (recharge.wall_energy_wh * efficiency)
            row = slopes * ratio / total
            index = self.evidence.parameters.index["charger_efficiency"]
            row[index] -= ratio / efficiency * point.value_slopes["charger_efficiency"]
            parts.append(_normal(ratio - 1.0, row, settings.wall_energy_spread))
        return parts

    def _measured_cells(self, point: _Predicted, values: dict[str, float]) -> list[Measurements]:
        """Cells that a logger measured, each with its own error and a gain in common."""
        known = np.isfinite(self.logged_wh)
        if not known.any():
            return []
        measured, energy = self.logged_wh[known], point.energy.wh[known]
        slopes = values["logger_gain"] * point.energy.slopes[known]
        index = self.evidence.parameters.index["logger_gain"]
        slopes[:, index] += energy * point.value_slopes["logger_gain"]
        settings = self.evidence.settings
        sd = np.hypot(settings.logged_floor_wh, settings.logged_spread * measured)
        residual = measured - values["logger_gain"] * energy
        return [Measurements(residual, slopes, sd, np.full(len(sd), np.inf))]

    def _known(self, point: _Predicted, values: dict[str, float]) -> list[Measurements]:
        """What other rides of the vehicle say of its parameters."""
        known, parameters = self.evidence.known, self.evidence.parameters
        if known is None:
            return []
        rows, said = known.as_rows()
        number = [parameters.index[name] for name in known.names]
        priors = [parameters.items[index].prior for index in number]
        now = [
            natural(prior, values[name]) for name, prior in zip(known.names, priors, strict=True)
        ]
        slopes = np.zeros((len(said), self.unknowns))
        slopes[:, number] = rows * [prior.spread for prior in priors]
        error = np.ones(len(said))
        return [
            Measurements(said - rows @ np.array(now), slopes, error, np.full(len(said), np.inf))
        ]

    def _not_overfull(self, point: _Predicted, start_charge: float) -> Measurements:
        """No pack starts with more than its usable capacity."""
        row = np.zeros(self.unknowns)
        above = max(0.0, start_charge - 1.0)
        if above > 0.0:
            index = self.evidence.parameters.index["start_charge"]
            row[index] = point.value_slopes["start_charge"]
        return _normal(above, row, self.evidence.settings.overfull_spread)


def _all_call_outs(evidence: Evidence) -> ShownPercent:
    """Call-outs of percent, then those of voltage: cells end at all of them."""
    shown, voltage = evidence.shown, evidence.voltage
    return ShownPercent(
        time_s=np.concatenate([shown.time_s, voltage.time_s]),
        distance_m=np.concatenate([shown.distance_m, voltage.distance_m]),
        percent=np.concatenate([shown.percent, np.full(len(voltage), np.nan)]),
        resting=np.concatenate([shown.resting, voltage.resting]),
    )


def _normal(excess: float, slopes: FloatArray, sd: float) -> Measurements:
    """One measurement with a normal error, of something predicted `excess` too high."""
    return Measurements(np.array([-excess]), slopes[None], np.array([sd]), np.array([np.inf]))


def _height_modes(covariance: FloatArray) -> FloatArray:
    """(k+1, h) height error at the edges by mode, from its covariance (k+1, k+1) [m²].

    Only differences of height matter, and the common offset is not known at all: so the
    covariance of the differences is taken apart, and summed up again.
    """
    level, modes = np.linalg.eigh(np.diff(np.diff(covariance, axis=0), axis=1))
    keep = level > 1e-9 * max(float(level[-1]), 1e-300)
    rises = modes[:, keep] * np.sqrt(level[keep])
    return np.vstack([np.zeros(rises.shape[1]), np.cumsum(rises, axis=0)])


def _height_error(
    modes: FloatArray, scores: FloatArray, evidence: Evidence, cells: Cells
) -> FloatArray:
    """(n,) estimated error of each leg's rise [m]: spread evenly over the section's way."""
    at_edges = modes @ scores
    return np.diff(at_edges)[evidence.sections.leg_section] * cells.leg_share
