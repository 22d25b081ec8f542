"""Climb, descent, flat: grade held over a distance."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.sections.partition import best_labels
from wherewatt.sections.settings import SectionSettings


class TerrainClass(StrEnum):
    """Terrain of a section."""

    FLAT = "flat"
    CLIMB = "climb"
    DESCENT = "descent"


CLASSES = (TerrainClass.FLAT, TerrainClass.CLIMB, TerrainClass.DESCENT)


def terrain_labels(
    height_m: FloatArray, spacing_m: float, rise_sd_m: float, settings: SectionSettings
) -> IntArray:
    """Index into `CLASSES` of each cell between heights on an even grid.

    The cost of a label is height: metres by which a cell falls short of a climb's threshold
    grade, or by which it exceeds a flat's. A change of class must explain more height than it
    costs, so noise does not shred a ride.

    Parameters
    ----------
    height_m : (k+1,) heights [m] every `spacing_m` metres.
    rise_sd_m : standard deviation of a rise over `settings.terrain_change_over_m` [m].
    """
    rise = np.diff(height_m)
    threshold = settings.grade_threshold * spacing_m
    cost = np.stack([np.abs(rise) - threshold, threshold - rise, threshold + rise])
    np.maximum(cost, 0.0, out=cost)
    shortest = max(1, round(settings.shortest_grade_m / spacing_m))
    change = max(settings.terrain_change_m, settings.terrain_change_sds * rise_sd_m)
    labels = best_labels(cost.T, change=change, shortest=shortest)
    return _without_low_ones(labels, height_m, settings.least_height_m)


def _without_low_ones(labels: IntArray, height_m: FloatArray, least_m: float) -> IntArray:
    """Climbs and descents of too little height are flat."""
    first = np.flatnonzero(np.diff(labels, prepend=-1))
    end = np.append(first[1:], len(labels))
    high = np.abs(height_m[end] - height_m[first]) >= least_m
    return np.repeat(np.where(high, labels[first], 0), end - first)
