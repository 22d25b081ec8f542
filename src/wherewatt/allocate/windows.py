"""Mean power over windows of time that end at given moments of a ride."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray

_LEAST_S = 1.0  # a window that the start of the ride cuts shorter is taken as this long


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """Windows of time; arrays (k,).

    Parameters
    ----------
    edges : (2·k,) leg in which each begins, and that in which it ends, window by window.
    within : True where these are two.
    begun, ended : share of these legs that had passed by then [1].
    length_s : [s].
    """

    edges: IntArray
    within: BoolArray
    begun: FloatArray
    ended: FloatArray
    length_s: FloatArray

    @classmethod
    def before(cls, at_s: FloatArray, length_s: FloatArray, time_s: FloatArray) -> Windows:
        """Windows of these lengths before these moments, cut off where the ride begins.

        Parameters
        ----------
        time_s : (n+1,) time of the ride's points [s].
        """
        start_s = np.maximum(at_s - length_s, time_s[0])
        first, begun = _leg_at(start_s, time_s)
        last, ended = _leg_at(at_s, time_s)
        edges = np.stack([first, last], axis=1).ravel()
        return cls(edges, first < last, begun, ended, np.maximum(at_s - start_s, _LEAST_S))

    def power_w(self, leg_j: FloatArray) -> FloatArray:
        """Mean power over each, from the energy of the legs (n,) [J]."""
        if not len(self.length_s):
            return np.zeros(0)
        # Every other sum is of what lies between two windows.
        joules = np.add.reduceat(leg_j, self.edges)[::2] * self.within
        joules -= self.begun * leg_j[self.edges[::2]]
        joules += self.ended * leg_j[self.edges[1::2]]
        return np.asarray(joules / self.length_s)


def _leg_at(at_s: FloatArray, time_s: FloatArray) -> tuple[IntArray, FloatArray]:
    """(k,) legs under way at given moments, and the share of each that had passed by then."""
    leg = np.searchsorted(time_s[1:-1], at_s, side="right")
    share = (at_s - time_s[leg]) / (time_s[leg + 1] - time_s[leg])
    return leg, np.minimum(np.maximum(share, 0.0), 1.0)
