"""What measured the ride, and what each instrument should have read.

All that instruments feel of the energy is how much was used by a few moments, here called knots:
those of the call-outs, and the end of the ride; and, where a logger ran, the energy of each cell.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from wherewatt.allocate.callouts import Load, Prediction, display_sd, predict_display
from wherewatt.allocate.cells import CellEnergy, Cells
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.gauss_newton import Measurements
from wherewatt.allocate.informed import Rows
from wherewatt.allocate.parameters import natural
from wherewatt.allocate.voltage import VoltagePrediction, predict_voltage, voltage_sd
from wherewatt.arrays import FloatArray, IntArray

# Residuals, and the derivatives of what was predicted by the unknowns.
_Read = tuple[FloatArray, FloatArray]


class Instruments:
    """The instruments of a ride.

    Parameters
    ----------
    before_voltage : (v,) number of cells that lie before each call-out of voltage.
    logged_wh : (c,) energy of each cell as a logger measured it [Wh]; NaN where none did.
    """

    def __init__(
        self, evidence: Evidence, cells: Cells, before_voltage: IntArray, logged_wh: FloatArray
    ) -> None:
        self.evidence = evidence
        count = len(cells.first_leg)
        before = np.concatenate([cells.before, before_voltage, [count]])
        self.knots, place = np.unique(before, return_inverse=True)
        self.of_percent = place[: len(cells.before)]
        self.of_volts = place[len(cells.before) : -1]
        self.logged = np.flatnonzero(np.isfinite(logged_wh))
        self.logged_wh = logged_wh[self.logged]
        self.runs = cells.runs(
            np.concatenate([[0], self.knots[:-1], self.logged]),
            np.concatenate([self.knots, self.logged + 1]),
        )
        self.known = None if evidence.known is None else evidence.known.as_rows()
        self.dof = self._dof()

    def used(self, energy: CellEnergy) -> FloatArray:
        """(q,) energy used by each knot, and that of each logged cell [Wh]."""
        so_far = np.concatenate([[0.0], np.cumsum(energy.wh)])
        return np.concatenate([so_far[self.knots], energy.wh[self.logged]])

    def rows(self, energy: CellEnergy) -> Rows:
        """What `used` depends on."""
        return Rows(energy, self.runs, len(self.knots))

    def sd(self, load: Load) -> FloatArray:
        """(m,) standard deviations of all readings."""
        evidence, settings = self.evidence, self.evidence.settings
        parts = [display_sd(load, settings)]
        if load.at_voltage is not None:
            shown, cell = evidence.voltage, evidence.cell
            parts.append(voltage_sd(shown, load.at_voltage, cell=cell, settings=settings))
        if evidence.recharge.metered_wh is not None:
            parts.append(np.array([settings.metered_spread]))
        if evidence.recharge.wall_energy_wh is not None:
            parts.append(np.array([settings.wall_energy_spread]))
        parts.append(np.hypot(settings.logged_floor_wh, settings.logged_spread * self.logged_wh))
        if self.known is not None:
            parts.append(np.ones(len(self.known[1])))
        return np.concatenate([*parts, [settings.overfull_spread]])

    def _dof(self) -> FloatArray:
        """(m,) degrees of freedom: call-outs come first, and all others have normal errors."""
        evidence = self.evidence
        read = len(evidence.shown) + len(evidence.voltage)
        told = (evidence.recharge.metered_wh, evidence.recharge.wall_energy_wh)
        others = len(self.logged) + 1 + sum(one is not None for one in told)
        if self.known is not None:
            others += len(self.known[1])
        return np.repeat([evidence.settings.student_dof, np.inf], [read, others])

    def measure(
        self, scores: FloatArray, used_wh: FloatArray, rows: FloatArray, load: Load, sd: FloatArray
    ) -> Measurements:
        """What was read against what should have been.

        Parameters
        ----------
        scores : (u,) unknowns, those of the parameters first.
        used_wh, rows : (q,) as `used` has it, and its derivatives (q, u) by these unknowns.
        load, sd : what the battery was doing, and the standard deviations then.
        """
        parameters = self.evidence.parameters
        values, by_score = parameters.at(scores)
        display, voltage = self.predict(values, used_wh, load)
        shown = self.evidence.shown
        parts = [
            (
                shown.percent - display.percent,
                self._through(rows[self.of_percent], by_score, display.per_used, display.slopes),
            )
        ]
        if voltage is not None:
            rows_of = rows[self.of_volts]
            slopes = self._through(rows_of, by_score, voltage.per_used, voltage.slopes)
            parts.append((self.evidence.voltage.volts - voltage.volts, slopes))
        parts += self._recharge(values, by_score, used_wh, rows)
        parts += self._logger(values, by_score, used_wh, rows)
        parts += self._others_say(values, rows.shape[1])
        parts.append(self._not_overfull(values, by_score, rows.shape[1]))
        residual = np.concatenate([residual for residual, _ in parts])
        return Measurements(residual, np.concatenate([slopes for _, slopes in parts]), sd, self.dof)

    def predict(
        self, values: Mapping[str, float], used_wh: FloatArray, load: Load
    ) -> tuple[Prediction, VoltagePrediction | None]:
        """What display and meter should show at the call-outs."""
        evidence, cell = self.evidence, self.evidence.cell
        display = predict_display(evidence.shown, used_wh[self.of_percent], load, values, cell=cell)
        if load.at_voltage is None:
            return display, None
        voltage = predict_voltage(
            evidence.voltage,
            used_wh[self.of_volts],
            load.at_voltage,
            values,
            cell=cell,
            settings=evidence.settings,
        )
        return display, voltage

    def _through(
        self,
        rows: FloatArray,
        by_score: Mapping[str, float],
        per_used: FloatArray,
        slopes: Mapping[str, FloatArray],
    ) -> FloatArray:
        """(m, u) derivatives of what is shown, through the energy used and through its own."""
        result = per_used[:, None] * rows
        index = self.evidence.parameters.index
        for name, slope in slopes.items():
            result[:, index[name]] += slope * by_score[name]
        return result

    def _recharge(
        self,
        values: Mapping[str, float],
        by_score: Mapping[str, float],
        used_wh: FloatArray,
        rows: FloatArray,
    ) -> list[_Read]:
        """Energy put back: metered at the pack, or at the wall through the charger.

        Each as the ratio of predicted to measured energy, which should be one.
        """
        recharge, end = self.evidence.recharge, len(self.knots) - 1
        read = []
        if recharge.metered_wh is not None:
            ratio = used_wh[end] / recharge.metered_wh
            read.append((np.array([1.0 - ratio]), rows[end : end + 1] / recharge.metered_wh))
        if recharge.wall_energy_wh is not None:
            name = "charger_efficiency"
            stored = recharge.wall_energy_wh * values[name]
            ratio, row = used_wh[end] / stored, rows[end : end + 1] / stored
            row[0, self.evidence.parameters.index[name]] -= ratio / values[name] * by_score[name]
            read.append((np.array([1.0 - ratio]), row))
        return read

    def _logger(
        self,
        values: Mapping[str, float],
        by_score: Mapping[str, float],
        used_wh: FloatArray,
        rows: FloatArray,
    ) -> list[_Read]:
        """Cells that a logger measured, each with its own error and a gain in common."""
        if not len(self.logged):
            return []
        name, energy = "logger_gain", used_wh[len(self.knots) :]
        slopes = values[name] * rows[len(self.knots) :]
        slopes[:, self.evidence.parameters.index[name]] += energy * by_score[name]
        return [(self.logged_wh - values[name] * energy, slopes)]

    def _others_say(self, values: Mapping[str, float], unknowns: int) -> list[_Read]:
        """What other rides of the vehicle say of its parameters."""
        known, parameters = self.evidence.known, self.evidence.parameters
        if known is None or self.known is None:
            return []
        rows, said = self.known
        number = [parameters.index[name] for name in known.names]
        priors = [parameters.items[index].prior for index in number]
        now = [
            natural(prior, values[name]) for name, prior in zip(known.names, priors, strict=True)
        ]
        slopes = np.zeros((len(said), unknowns))
        slopes[:, number] = rows * [prior.spread for prior in priors]
        return [(said - rows @ np.array(now), slopes)]

    def _not_overfull(
        self, values: Mapping[str, float], by_score: Mapping[str, float], unknowns: int
    ) -> _Read:
        """No pack starts with more than its usable capacity."""
        row = np.zeros((1, unknowns))
        above = max(0.0, values["start_charge"] - 1.0)
        if above > 0.0:
            row[0, self.evidence.parameters.index["start_charge"]] = by_score["start_charge"]
        return np.array([-above]), row
