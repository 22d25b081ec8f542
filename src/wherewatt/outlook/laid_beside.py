"""Two rides of the same course beside each other, section by section."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.ledger import Measure
from wherewatt.arrays import FloatArray
from wherewatt.report.result import RideResult
from wherewatt.sections.matching import SharedStretch, match_rides
from wherewatt.sections.names import find_features, section_names
from wherewatt.sections.settings import PlaceSettings

_SHORTEST_M = 50.0  # a shorter piece of a shared section tells nothing; common practice, no source


@dataclass(frozen=True, slots=True)
class SharedSection:
    """A section of the first ride, or the part of it that both went along.

    Parameters
    ----------
    name, terrain, surface : of the section.
    start_m, end_m : along the first ride [m].
    other_start_m, other_end_m : the same places along the second [m].
    wh_per_km, other_wh_per_km : consumption of either there [Wh/km].
    difference : the second less the first [Wh/km].
    """

    name: str
    terrain: str
    surface: str
    start_m: float
    end_m: float
    other_start_m: float
    other_end_m: float
    wh_per_km: Measure
    other_wh_per_km: Measure
    difference: Measure


@dataclass(frozen=True, slots=True, eq=False)
class LaidBeside:
    """What two rides have in common.

    Parameters
    ----------
    shared_m : length that both went along, the same way [m].
    share : the same over the length of the longer ride [1].
    sections : the sections of the first that lie there, in order.
    wh_per_km, other_wh_per_km : consumption of either on all of them together [Wh/km].
    difference : the second less the first [Wh/km].
    """

    shared_m: float
    share: float
    sections: tuple[SharedSection, ...]
    wh_per_km: Measure
    other_wh_per_km: Measure
    difference: Measure


def laid_beside(a: RideResult, b: RideResult, settings: PlaceSettings) -> LaidBeside | None:
    """Lay two rides along each other and compare their consumption on shared ground.

    Sections are those of the first ride; where both rode only a part of one, that part counts.
    None if the two share no ground.
    """
    stretches = match_rides(a.ride, b.ride, settings)
    meters = _Meter(a), _Meter(b)
    edges = a.sections.edge_m
    names = section_names(a.sections, find_features(a.sections))
    found = [
        _shared(a, names[number], number, ends, stretch, meters)
        for stretch in stretches
        for number, ends in _within(edges, stretch)
    ]
    if not found:
        return None
    shared = sum(stretch.ends_a_m[1] - stretch.ends_a_m[0] for stretch in stretches)
    longer = max(float(a.ride.distance_m[-1]), float(b.ride.distance_m[-1]))
    of_a = meters[0].over([(of.start_m, of.end_m) for of in found])
    of_b = meters[1].over([(of.other_start_m, of.other_end_m) for of in found])
    return LaidBeside(shared, shared / longer, tuple(found), of_a, of_b, _less(of_b, of_a))


def _within(edges: FloatArray, stretch: SharedStretch) -> list[tuple[int, tuple[float, float]]]:
    """Sections that lie along a stretch: their number, and the ends of the shared part [m]."""
    start, end = stretch.ends_a_m
    low, high = np.maximum(edges[:-1], start), np.minimum(edges[1:], end)
    long_enough = np.flatnonzero(high - low >= _SHORTEST_M)
    return [(int(number), (float(low[number]), float(high[number]))) for number in long_enough]


def _shared(
    a: RideResult,
    name: str,
    number: int,
    ends: tuple[float, float],
    stretch: SharedStretch,
    meters: tuple[_Meter, _Meter],
) -> SharedSection:
    first, second = stretch.in_b(np.array(ends))
    of_a = meters[0].over([ends])
    of_b = meters[1].over([(float(first), float(second))])
    return SharedSection(
        name=name,
        terrain=a.sections.terrain[number],
        surface=a.sections.surface[number],
        start_m=ends[0],
        end_m=ends[1],
        other_start_m=float(first),
        other_end_m=float(second),
        wh_per_km=of_a,
        other_wh_per_km=of_b,
        difference=_less(of_b, of_a),
    )


def _less(one: Measure, other: Measure) -> Measure:
    """Difference of two numbers that are independent of each other."""
    return Measure(one.mean - other.mean, float(np.hypot(one.sd, other.sd)))


class _Meter:
    """Consumption of a ride between any places of it, with its standard deviation."""

    def __init__(self, result: RideResult) -> None:
        estimate = result.estimate
        self.at_m = result.ride.distance_m
        self.covariance = estimate.solution.covariance
        self.used_wh = result.used_wh
        cell_edges = np.append(estimate.cells.first_leg, len(self.at_m) - 1)
        self.cell_m = self.at_m[cell_edges]
        slopes = estimate.cell_energy.slopes
        self.slopes = np.vstack([np.zeros(slopes.shape[1]), np.cumsum(slopes, axis=0)])

    def over(self, parts: Sequence[tuple[float, float]]) -> Measure:
        """Consumption over parts of the ride from one distance to another, together [Wh/km]."""
        starts, ends = np.array(parts).T
        km = float(np.sum(ends - starts)) / 1000.0
        counted = (np.interp(at_m, self.at_m, self.used_wh) for at_m in (ends, starts))
        used = float(np.sum(np.subtract(*counted)))
        slope = np.sum([self._so_far(end) - self._so_far(start) for start, end in parts], axis=0)
        variance = float(slope @ self.covariance @ slope)
        return Measure(used / km, float(np.sqrt(max(0.0, variance))) / km)

    def _so_far(self, at_m: float) -> FloatArray:
        """(u,) derivative of the energy used by then; it grows evenly within a cell."""
        cell = int(np.clip(np.searchsorted(self.cell_m, at_m) - 1, 0, len(self.cell_m) - 2))
        length = self.cell_m[cell + 1] - self.cell_m[cell]
        part = (at_m - self.cell_m[cell]) / length if length > 0.0 else 1.0
        return np.asarray(
            self.slopes[cell]
            + np.clip(part, 0.0, 1.0) * (self.slopes[cell + 1] - self.slopes[cell])
        )
