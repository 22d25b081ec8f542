"""Bridges, tunnels and cuttings: compact humps and dips that terrain tiles do not know."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.terrain.humps import SAMPLES, STEPS, Places
from wherewatt.terrain.model import Observed
from wherewatt.terrain.settings import TerrainSettings
from wherewatt.terrain.solution import Solution

_LENGTH_STEP = 1.3  # from one length that is tried to the next
_ROUGHLY = 0.8  # of what a structure needs to be looked at more closely
_MOST_CANDIDATES = 60


@dataclass(frozen=True, slots=True)
class Structure:
    """A stretch where the road leaves the terrain.

    Parameters
    ----------
    kind : "bridge" or "cutting".
    start_m, end_m : distances from the start [m].
    height_m : greatest height above (below, if negative) the terrain [m].
    height_sd_m : its standard deviation [m].
    """

    kind: str
    start_m: float
    end_m: float
    height_m: float
    height_sd_m: float


def find_structures(
    observed: Observed, solution: Solution, first_visit: IntArray, settings: TerrainSettings
) -> tuple[Structure, ...]:
    """Structures, by matched filter.

    A hump of unknown height in the recording, at every place and of several lengths, is held
    against the model without it: with the covariance S of what was observed, y, and the hump's
    shape t, its height is t·S⁻¹y over t·S⁻¹t, with the second as its information (the generalised
    likelihood ratio; Kay 1998, Fundamentals of Statistical Signal Processing II, section 7.4).
    Those that stand out by enough standard deviations are kept, the clearest first. A place
    visited again shows its hump again and counts with all its visits.

    Parameters
    ----------
    first_visit : (k,) the node at which each place was first visited.
    """
    places = Places.of(observed, solution, first_visit)
    humps = _candidates(places, settings)
    found: list[Structure] = []
    for one in _kept(humps, settings):
        height, information = humps.score[one] / humps.information[one], humps.information[one]
        for start, end in places.visits(*humps.span[one].tolist()):
            found.append(
                Structure(
                    "bridge" if height > 0 else "cutting",
                    start * observed.spacing_m,
                    end * observed.spacing_m,
                    float(height),
                    float(information**-0.5),
                )
            )
    return tuple(sorted(found, key=lambda structure: structure.start_m))


class _Humps(NamedTuple):
    """What may be structures.

    Parameters
    ----------
    span : (j, 2) first place and number of cells.
    score : (j,) t·S⁻¹y [1/m].
    information : (j,) t·S⁻¹t [1/m²].
    """

    span: IntArray
    score: FloatArray
    information: FloatArray

    def sds(self, settings: TerrainSettings) -> FloatArray:
        """By how many standard deviations each stands out; 0 where that is not enough."""
        size = np.abs(self.score)
        sds = size / np.sqrt(self.information)
        clear = sds >= np.where(self.score > 0, settings.bridge_sds, settings.cutting_sds)
        high = size >= settings.structure_height_m * self.information
        return np.where(clear & high, sds, 0.0)

    def touching(self, one: int) -> BoolArray:
        """(j,) True for those that share some of the way with one of them, and for itself."""
        start, end = self.span[:, 0], self.span.sum(axis=1)
        return (start < end[one]) & (end > start[one])


def _candidates(places: Places, settings: TerrainSettings) -> _Humps:
    """What may be structures, clearest first, with their information."""
    sweeps = [places.sweep(cells) for cells in _lengths(places, settings)]
    sweeps = [sweep for sweep in sweeps if len(sweep.sampled)]
    none = np.zeros((0, 2), dtype=np.intp)
    sampled = np.concatenate([none, *(sweep.spans(sweep.sampled) for sweep in sweeps)])
    known = places.information(sampled).reshape(-1, SAMPLES)
    rough, span, score = [np.zeros(0)], [none], [np.zeros(0)]
    for sweep, information in zip(sweeps, known, strict=True):
        start, sds = sweep.peaks(information, _ROUGHLY * settings.bridge_sds)
        rough.append(sds)
        span.append(sweep.spans(start))
        score.append(sweep.score[start])
    clearest = np.argsort(-np.concatenate(rough), kind="stable")[:_MOST_CANDIDATES]
    spans = np.concatenate(span)[clearest]
    return _Humps(spans, np.concatenate(score)[clearest], places.information(spans))


def _kept(humps: _Humps, settings: TerrainSettings) -> list[int]:
    """Indices of those that stand out enough and do not touch a clearer one."""
    sds = humps.sds(settings)
    kept = []
    while sds.any():
        best = int(sds.argmax())
        kept.append(best)
        sds[humps.touching(best)] = 0.0
    return kept


def _lengths(places: Places, settings: TerrainSettings) -> list[int]:
    """Lengths to try, in cells, each longer than the last by a fixed ratio."""
    spacing = settings.grid_m / STEPS
    longest = min(settings.structure_longest_m, 0.4 * settings.grid_m * len(places.place))
    count = int(np.log(max(longest / settings.structure_shortest_m, 1.0)) / np.log(_LENGTH_STEP))
    lengths = settings.structure_shortest_m * _LENGTH_STEP ** np.arange(count + 1)
    cells = {max(3, round(length / spacing)) for length in lengths.tolist()}
    return sorted(one for one in cells if one < len(places.weight))
