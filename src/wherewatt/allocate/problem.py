"""The unknowns of one ride, and what they predict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wherewatt.allocate.balance import Balance, Motion, balance_of, battery_slopes
from wherewatt.allocate.callouts import Load, Prediction, ShownPercent
from wherewatt.allocate.cells import CellEnergy, Cells, CellSums, cell_energy, cut_cells
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.gauss_newton import Measurements
from wherewatt.allocate.informed import Informed, informed_part, pivoted_root
from wherewatt.allocate.instruments import Instruments
from wherewatt.allocate.loads import Loads
from wherewatt.allocate.parameters import ratio_name
from wherewatt.allocate.voltage import VoltagePrediction, start_from_voltage
from wherewatt.allocate.windows import Windows
from wherewatt.arrays import FloatArray, IntArray, median

_SAG_WINDOW_S = 15.0  # a display filters the voltage over some seconds; common practice, no source
_LATE_WINDOW_S = 60.0

_PART_LEGS = 16384  # legs worked on at a time, so that their arrays stay in the processor's cache
_LEAST_MODE = 1e-9  # variance of a mode of the height error, of the greatest: below is rounding


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """What is predicted at one set of scores, and what was measured against it.

    The measurements' derivatives are by all unknowns.
    """

    loads: Loads
    display: Prediction
    measurements: Measurements


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """The energy around one set of scores.

    Parameters
    ----------
    scores : (u,) the scores.
    energy : of the cells, with derivatives.
    leg_j : (n,) energy of the legs [J].
    loads : the same by cause, before the discrepancy.
    """

    scores: FloatArray
    energy: CellEnergy
    leg_j: FloatArray
    loads: Loads


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """The problem as it looks from one set of scores, in the unknowns that show.

    Energy is taken as linear in the unknowns and the load at the call-outs as fixed; instruments
    are as bent as they are.

    Parameters
    ----------
    instruments : what measured the ride.
    informed : the unknowns that show.
    start : (p + r,) where it was looked from.
    at_zero_wh : (q,) what is used by the knots where all unknowns are zero [Wh].
    load, sd : what the battery was doing, and the standard deviations of the readings then.
    """

    instruments: Instruments
    informed: Informed
    start: FloatArray
    at_zero_wh: FloatArray
    load: Load
    sd: FloatArray

    def measure(self, reduced: FloatArray) -> Measurements:
        """What was read against what should have been."""
        rows = self.informed.rows
        return self.instruments.measure(reduced, self._used(reduced), rows, self.load, self.sd)

    def predict(self, reduced: FloatArray) -> tuple[Prediction, VoltagePrediction | None]:
        """What display and meter should show at the call-outs."""
        values = self.instruments.evidence.parameters.values(reduced)
        return self.instruments.predict(values, self._used(reduced), self.load)

    def _used(self, reduced: FloatArray) -> FloatArray:
        return self.at_zero_wh + self.informed.rows @ reduced


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """Some cells of a ride: their legs, and the first leg of each, counted within the part."""

    motion: Motion
    legs: slice
    first_leg: IntArray

    def total(self, of_legs: FloatArray, weight: FloatArray | None = None) -> FloatArray:
        """(c,) sums over the legs of each cell, each leg's times its weight."""
        weighed = of_legs if weight is None else of_legs * weight
        return np.asarray(np.add.reduceat(weighed, self.first_leg))


class RideProblem:
    """The unknowns of a ride and what they predict."""

    def __init__(self, evidence: Evidence) -> None:
        self.evidence = evidence
        call_outs = _all_call_outs(evidence)
        cells = cut_cells(
            evidence.sections,
            call_outs,
            evidence.settings,
            wind_speed_m_s=evidence.wind_speed_m_s,
        )
        logged_wh = self._logged(cells)
        spread = evidence.settings.logged_stretch_spread
        before, count = cells.before, len(evidence.shown)
        self.cells = replace(cells, before=before[:count])
        if evidence.pack_log is not None:
            self.cells = self.cells.each_alone(np.isfinite(logged_wh), spread)
        self.instruments = Instruments(evidence, self.cells, before[count:], logged_wh)
        self.legs_of_cells = self.cells.legs
        self.runs = _runs(evidence.legs.motion(), self.cells)
        self.windows = _windows(call_outs, evidence.sections.ride.time_s)
        # Only differences of height matter, and the common offset is not known at all.
        self.rise_covariance = _of_differences(evidence.height_covariance)
        self.rise_modes = pivoted_root(self.rise_covariance, _LEAST_MODE)[0]
        self.p = len(evidence.parameters)
        self.unknowns = self.p + self.cells.stretches + self.rise_modes.shape[1]

    def _logged(self, cells: Cells) -> FloatArray:
        """(c,) energy of each cell as a logger measured it [Wh]; NaN where none did."""
        log, ride = self.evidence.pack_log, self.evidence.sections.ride
        if log is None:
            return np.full(len(cells.first_leg), np.nan)
        return log.between(ride.time_s[np.append(cells.first_leg, len(ride.standing))])

    def start_from(self, center: Around) -> FloatArray:
        """The priors' centers, but with the charge at the start that the call-outs suggest.

        Parameters
        ----------
        center : the energy at the priors' centers.
        """
        scores = center.scores.copy()
        evidence, parameters = self.evidence, self.evidence.parameters
        load = self.load_of(center)
        if len(evidence.shown):
            at_start = median(evidence.shown.percent / 100.0 + load.used_share)
        elif load.at_voltage is not None:
            used = load.at_voltage.used_share
            at_start = start_from_voltage(evidence.voltage, used, evidence.cell)
        else:
            return scores
        number = parameters.index["start_charge"]
        prior = parameters.items[number].prior
        scores[number] = (at_start - prior.center) / prior.spread
        return scores

    def started(self, center: Around) -> Around:
        """The energy at the priors' centers, which the charge does not change, at the start."""
        scores = self.start_from(center)
        values = self.evidence.parameters.values(scores)
        return replace(center, scores=scores, loads=replace(center.loads, values=values))

    def at(self, scores: FloatArray, load: Load) -> Point:
        """What the unknowns predict, with the load at the call-outs held fixed."""
        around = self.around(scores)
        rows, used = self.instruments.rows(around.energy), self.instruments.used(around.energy)
        display, _ = self.instruments.predict(around.loads.values, used, load)
        sd = self.instruments.sd(load)
        measurements = self.instruments.measure(scores, used, rows.dense(), load, sd)
        return Point(around.loads, display, measurements)

    def around(self, scores: FloatArray) -> Around:
        """The energy around scores."""
        values, rise = self.evidence.parameters.values(scores), self._rise(scores)
        day_factor, leg_j = values.get("day_factor", 1.0), self.leg_factor(scores)
        sums, kept = [], []
        for run in self.runs:
            balance = balance_of(run.motion, rise[run.legs], values)
            leg_j[run.legs] *= day_factor * balance.battery_j
            sums.append(self._sums(run, balance, values))
            if len(self.runs) == 1:  # those of a long ride would crowd out what is in use
                kept.append(balance)
        energy = cell_energy(
            self.cells,
            _joined(sums),
            parameters=self.evidence.parameters,
            scores=scores,
            rise_modes=self.rise_modes,
            rise_covariance=self.rise_covariance,
        )
        motions = tuple(run.motion for run in self.runs)
        return Around(scores, energy, leg_j, Loads(values, motions, rise, tuple(kept)))

    def _sums(self, run: _Run, balance: Balance, values: Mapping[str, float]) -> CellSums:
        """Sums over the cells of a part."""
        slopes = battery_slopes(balance, values, run.total)
        # A cell lies within a section, and a section on one surface.
        surface = run.motion.surface[run.first_leg]
        rolling = values["rolling_resistance"] * slopes["rolling_resistance"]
        for number, name in enumerate(map(ratio_name, run.motion.surfaces)):
            slopes[name] = np.where(surface == number, rolling / values[name], 0.0)
        per_rise = run.total(balance.wheel_gain, self.cells.leg_share[run.legs])
        sums = CellSums(run.total(balance.battery_j), slopes, per_rise)
        return sums.on_day(values.get("day_factor", 1.0))

    def view(self, around: Around, load: Load) -> View:
        """The problem as it looks from the scores that the energy was worked out at."""
        rows, used = self.instruments.rows(around.energy), self.instruments.used(around.energy)
        informed = informed_part(rows, self.unknowns - self.p)
        start = informed.reduced(around.scores[None])[0]
        return View(
            instruments=self.instruments,
            informed=informed,
            start=start,
            at_zero_wh=used - informed.rows @ start,
            load=load,
            sd=self.instruments.sd(load),
        )

    def leg_factor(self, scores: FloatArray) -> FloatArray:
        """(n,) discrepancy factor of each leg."""
        cells = self.cells
        log_factors = cells.stretch_spread * scores[self.p : self.p + cells.stretches]
        return np.repeat(np.exp(log_factors)[cells.stretch], self.legs_of_cells)

    def _rise(self, scores: FloatArray) -> FloatArray:
        """(n,) change of height; its error is spread evenly over a section's way [m]."""
        error = self.rise_modes @ scores[self.p + self.cells.stretches :]
        rise = error.take(self.evidence.sections.leg_section)
        rise *= self.cells.leg_share
        rise += self.evidence.legs.rise_m
        return rise

    def load_at(self, scores: FloatArray) -> Load:
        """What the battery did at the call-outs, at given scores."""
        return self.load_of(self.around(scores))

    def load_of(self, around: Around) -> Load:
        """What the battery did at the call-outs."""
        values, count = around.loads.values, len(self.evidence.shown)
        now_w, lately_w = self.windows.power_w(around.leg_j).reshape(2, -1)
        used = self.instruments.used(around.energy) / values["battery_usable_wh"]
        left, capacity_wh = values["start_charge"] - used, values["battery_usable_wh"]
        place, at_voltage = self.instruments.of_volts, None
        if len(place):
            at_voltage = Load(
                now_w[count:],
                lately_w[count:],
                used[place],
                left[place],
                capacity_wh,
                pack_ohm=values["pack_resistance_ohm"],
            )
        place = self.instruments.of_percent
        return Load(
            now_w[:count],
            lately_w[:count],
            used[place],
            left[place],
            capacity_wh,
            at_voltage=at_voltage,
        )


def _windows(call_outs: ShownPercent, time_s: FloatArray) -> Windows:
    """Under what load the display sags, at all call-outs, and then what a late one misses."""
    length_s = np.repeat([_SAG_WINDOW_S, _LATE_WINDOW_S], len(call_outs))
    return Windows.before(np.tile(call_outs.time_s, 2), length_s, time_s)


def _of_differences(covariance: FloatArray) -> FloatArray:
    """(k, k) covariance of the differences of successive numbers of covariance (k + 1, k + 1)."""
    differences = covariance[1:] - covariance[:-1]
    return differences[:, 1:] - differences[:, :-1]


def _runs(motion: Motion, cells: Cells) -> list[_Run]:
    """Runs of whole cells, of about `_PART_LEGS` legs each."""
    legs = len(motion.distance_m)
    edges = np.append(cells.first_leg, legs)
    cuts = np.unique(np.searchsorted(edges, np.arange(0, legs + _PART_LEGS, _PART_LEGS)))
    cuts = np.minimum(cuts, len(cells.first_leg))
    return [
        _run(motion, cells, first, end) for first, end in pairwise(cuts.tolist()) if end > first
    ]


def _run(motion: Motion, cells: Cells, first_cell: int, end_cell: int) -> _Run:
    edges = np.append(cells.first_leg, len(motion.distance_m))
    first, end = int(edges[first_cell]), int(edges[end_cell])
    first_leg = cells.first_leg[first_cell:end_cell] - first
    return _Run(motion.part(first, end), slice(first, end), first_leg)


def _joined(sums: Sequence[CellSums]) -> CellSums:
    """Sums over the cells of a whole ride from those of its parts."""
    if len(sums) == 1:
        return sums[0]
    return CellSums(
        np.concatenate([one.battery_j for one in sums]),
        {name: np.concatenate([one.slopes[name] for one in sums]) for name in sums[0].slopes},
        np.concatenate([one.per_rise for one in sums]),
        sums[0].times,
    )


def _all_call_outs(evidence: Evidence) -> ShownPercent:
    """Call-outs of percent, then those of voltage: cells end at all of them."""
    shown, voltage = evidence.shown, evidence.voltage
    return ShownPercent(
        time_s=np.concatenate([shown.time_s, voltage.time_s]),
        distance_m=np.concatenate([shown.distance_m, voltage.distance_m]),
        percent=np.concatenate([shown.percent, np.full(len(voltage), np.nan)]),
        resting=np.concatenate([shown.resting, voltage.resting]),
    )
