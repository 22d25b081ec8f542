"""What each cause added to a drive, over the neutral ride: shares that add up exactly.

What wind adds depends on whether the speed is already as ridden: the order in which causes are
switched on matters. So the mean over all orders is taken (Shapley 1953, "A value for n-person
games", Contributions to the Theory of Games II), which prefers none and adds up to the whole.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from math import factorial

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.loads import Legs, leg_loads
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.outlook.switching import (
    OF_THE_DRIVE,
    Cause,
    Neutral,
    switched_legs,
    switched_values,
)
from wherewatt.units import JOULES_PER_WATT_HOUR, STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, slots=True, eq=False)
class Unknowns:
    """What a drive's energy depends on: parameters, discrepancy of stretches, modes of the height.

    Parameters
    ----------
    values : of the parameters, by name.
    slopes : derivative of each value by its score; zero where it is taken as known.
    column : place of each parameter's score among the unknowns.
    covariance : (u, u) of the unknowns.
    """

    values: Mapping[str, float]
    slopes: Mapping[str, float]
    column: Mapping[str, int]
    covariance: FloatArray

    def __len__(self) -> int:
        return len(self.covariance)


@dataclass(frozen=True, slots=True, eq=False)
class Ridden:
    """A drive as ridden, and what its energy depends on besides the parameters; arrays (n,).

    Parameters
    ----------
    legs : with the most probable rise.
    factor : discrepancy factor of each leg.
    stretch : place of the leg's discrepancy score among the unknowns.
    stretch_spread : standard deviation of the logarithm of its discrepancy.
    section : of the height error.
    section_share : length of the leg over that of its section [1].
    rise_modes : (sections, h) rise error of a section per unit score [m].
    first_mode : place of the first mode's score among the unknowns.
    """

    legs: Legs
    factor: FloatArray
    stretch: IntArray
    stretch_spread: FloatArray
    section: IntArray
    section_share: FloatArray
    rise_modes: FloatArray
    first_mode: int


@dataclass(frozen=True, slots=True, eq=False)
class Contributions:
    """What each cause added to a drive.

    Parameters
    ----------
    wh_per_km : as ridden [Wh/km].
    slopes : (u,) its derivative by the unknowns.
    neutral_wh_per_km : of the neutral ride [Wh/km].
    by_cause : what each cause added [Wh/km]; these and the neutral ride add up to `wh_per_km`.
    cause_slopes : (u,) derivative of each.
    """

    wh_per_km: float
    slopes: FloatArray
    neutral_wh_per_km: float
    by_cause: Mapping[Cause, float]
    cause_slopes: Mapping[Cause, FloatArray]


def as_ridden(estimate: Estimate) -> Ridden:
    """The drive of an estimated ride."""
    evidence, cells = estimate.evidence, estimate.cells
    first_stretch = len(evidence.parameters)
    first_mode = first_stretch + cells.stretches
    section = evidence.sections.leg_section
    rise_modes = np.diff(estimate.height_modes, axis=0)
    error = rise_modes @ estimate.solution.scores[first_mode:]
    rise = evidence.legs.rise_m + error[section] * cells.leg_share
    legs_of_cell = np.diff(np.append(cells.first_leg, len(section)))
    stretch = np.repeat(cells.stretch, legs_of_cell)
    return Ridden(
        legs=replace(evidence.legs, rise_m=rise),
        factor=estimate.leg_factor,
        stretch=first_stretch + stretch,
        stretch_spread=cells.stretch_spread[stretch],
        section=section,
        section_share=cells.leg_share,
        rise_modes=rise_modes,
        first_mode=first_mode,
    )


def as_driven(legs: Legs) -> Ridden:
    """A drive of which legs and heights are known, such as that of the reference ride."""
    n = len(legs.time_s)
    nothing, nowhere = np.zeros(n), np.zeros(n, dtype=np.intp)
    return Ridden(legs, np.ones(n), nowhere, nothing, nowhere, nothing, np.zeros((1, 0)), 0)


def contributions(
    ridden: Ridden, unknowns: Unknowns, neutral: Neutral, causes: Sequence[Cause] = OF_THE_DRIVE
) -> Contributions:
    """What each cause added to a drive, with derivatives.

    Parameters
    ----------
    causes : those that may have added anything; the drive is as the neutral ride in all others.
        What no cause explains, the discrepancy, is added to them.
    """
    table = [_energies(ridden, unknowns, neutral, off) for off in map(set, _all_off(causes))]
    # The discrepancy is the last cause: first come all sets without it, then all with it.
    order = [*causes, Cause.UNEXPLAINED]
    wh_per_km = np.array([[row.wh_per_km[use] for row in table] for use in (0, 1)]).ravel()
    slopes = np.vstack([[row.slopes[use] for row in table] for use in (0, 1)])
    weights = shapley_weights(len(order))
    shares, share_slopes = weights @ wh_per_km, weights @ slopes
    return Contributions(
        wh_per_km=float(wh_per_km[-1]),
        slopes=slopes[-1],
        neutral_wh_per_km=float(wh_per_km[0]),
        by_cause=dict(zip(order, map(float, shares), strict=True)),
        cause_slopes=dict(zip(order, share_slopes, strict=True)),
    )


def _all_off(causes: Sequence[Cause]) -> list[list[Cause]]:
    """Every set of causes to switch off; bit i of its place says whether cause i stays on."""
    return [
        [cause for bit, cause in enumerate(causes) if not number >> bit & 1]
        for number in range(1 << len(causes))
    ]


def shapley_weights(causes: int) -> FloatArray:
    """(causes, 2^causes) weights of the value of each set of causes in each cause's share.

    Shapley (1953), equation 13: the gain from joining a set of s of the others counts
    s! (n − s − 1)! / n!. Bit i of a set's number says whether cause i is in it.
    """
    sets = np.arange(1 << causes)
    inside = (sets >> np.arange(causes)[:, None] & 1).astype(bool)
    size = inside.sum(axis=0)
    joined = [factorial(s) * factorial(causes - s - 1) / factorial(causes) for s in range(causes)]
    weight = np.array([*joined, 0.0])
    return np.where(inside, weight[size - 1], -weight[size])


@dataclass(frozen=True, slots=True, eq=False)
class _Energies:
    """Consumption (2,) [Wh/km] and its derivatives (2, u): without discrepancy, and with it."""

    wh_per_km: FloatArray
    slopes: FloatArray


def _energies(
    ridden: Ridden, unknowns: Unknowns, neutral: Neutral, off: Collection[Cause]
) -> _Energies:
    """Consumption of a drive with some causes switched off."""
    now = switched_values(unknowns.values, off, neutral)
    loads = leg_loads(switched_legs(ridden.legs, off, neutral), now.values)
    per_km = 1000.0 / (JOULES_PER_WATT_HOUR * float(ridden.legs.distance_m.sum()))
    weights = np.stack([np.ones_like(ridden.factor), ridden.factor]) * per_km
    slopes = np.zeros((2, len(unknowns)))
    for name, slope in loads.slopes.items():
        if name in unknowns.column:
            by_score = now.follows.get(name, 1.0) * unknowns.slopes[name]
            slopes[:, unknowns.column[name]] = by_score * (weights @ slope)
    with_factor = weights[1] * loads.battery_j * ridden.stretch_spread
    slopes[1] += np.bincount(ridden.stretch, weights=with_factor, minlength=len(unknowns))
    if Cause.HEIGHT not in off and ridden.rise_modes.shape[1]:
        weight_n = now.values["mass_kg"] * STANDARD_GRAVITY_M_S2
        slopes[:, ridden.first_mode : ridden.first_mode + ridden.rise_modes.shape[1]] = (
            _by_rise(ridden, weights * loads.wheel_gain * weight_n) @ ridden.rise_modes
        )
    return _Energies(weights @ loads.battery_j, slopes)


def _by_rise(ridden: Ridden, per_metre: FloatArray) -> FloatArray:
    """(2, sections) energy per metre of rise error of each section, from that of the legs."""
    sections = len(ridden.rise_modes)
    return np.stack(
        [
            np.bincount(ridden.section, weights=row * ridden.section_share, minlength=sections)
            for row in per_metre
        ]
    )
