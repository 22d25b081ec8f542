"""Height along a ride, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.ingest.track import Note
from wherewatt.terrain.nodes import Nodes
from wherewatt.terrain.solution import Solution
from wherewatt.terrain.structures import Structure

_RISES = 12  # that are looked at for a typical one


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Height along the ride.

    Parameters
    ----------
    nodes : the grid.
    node_height_m : (k,) height at the nodes [m]; linear in between.
    terrain_m : (k,) height of the terrain at the nodes [m], NaN where it is unknown.
    turn_m : ascent and descent count between turning points this far apart [m].
    structures : bridges and cuttings that were found.
    notes : what was odd and what was done about it.
    """

    nodes: Nodes
    node_height_m: FloatArray
    terrain_m: FloatArray
    turn_m: float
    structures: tuple[Structure, ...]
    notes: tuple[Note, ...]
    _solution: Solution

    @property
    def node_m(self) -> FloatArray:
        """(k,) distances of the nodes from the start [m]."""
        return self.nodes.distance_m

    def height_at(self, distance_m: FloatArray) -> FloatArray:
        """Height at distances from the start [m]."""
        return np.interp(distance_m, self.node_m, self.node_height_m)

    def above_terrain(self, start_m: float, end_m: float) -> float:
        """Farthest that the road leaves the terrain within a stretch, less than at its ends [m].

        NaN where the terrain is unknown. Positive above the terrain, negative below it.
        """
        inside = (self.node_m >= start_m) & (self.node_m <= end_m) & np.isfinite(self.terrain_m)
        if inside.sum() < 3:
            return float("nan")
        off = (self.node_height_m - self.terrain_m)[inside]
        off = off - np.linspace(off[0], off[-1], len(off))
        return float(off[np.argmax(np.abs(off))])

    def covariance_at(self, distance_m: FloatArray) -> FloatArray:
        """(j, j) covariance of the height at j distances [m²], correlations kept."""
        return self._solution.height_covariance(self.nodes.nearest(distance_m))

    def rise_sd(self, length_m: float) -> float:
        """Typical standard deviation of the rise over a length, of a road ridden once [m]."""
        total = float(self.node_m[-1])
        length = min(length_m, total)
        start = np.linspace(0.0, total - length, _RISES)
        first = self.nodes.nearest(start)
        last = np.maximum(self.nodes.nearest(start + length), first + 1)
        return float(np.sqrt(np.median(self._solution.rise_variance(first, last))))
