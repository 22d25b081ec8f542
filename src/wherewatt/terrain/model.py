"""The heights along a ride as one linear model with Gaussian errors.

At every node four things are unknown, and two are observed:

    tile      = height + tile error + white noise
    recording = height + wander + weather + white noise

The grade of the road is a random walk along distance. The tile's error is alike over some hundred
metres (first-order Gauss–Markov along distance); the satellite error of a recording wanders over
minutes (Gauss–Markov in time); the weather moves a barometer, and with it everything recorded, in
a slow random walk in time, whose start is free: no two sources share a datum. The most probable
unknowns are the solution of one banded linear system, and its determinant gives the likelihood of
the noise levels (Rue and Held 2005, Gaussian Markov Random Fields, section 2.4).

`information` states the system, `solution` solves it, `marginal` says how sure some heights are,
and `likelihood` how probable noise levels are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray

HEIGHT, TILE_ERROR, WANDER, WEATHER = range(4)
STATES = 4


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise levels of a ride's sources.

    Parameters
    ----------
    grade_walk_per_root_m : how fast the grade of the road changes [1/√m].
    tile_sd_m, tile_length_m : spread of the tile's error and the length over which it is alike [m].
    tile_white_m2_m : spectral density of the tile's white noise [m²·m].
    wander_sd_m, wander_s : spread of the satellite error [m] and its correlation time [s].
    weather_walk_m_per_root_s : how fast the weather moves a barometer [m/√s].
    recorded_white_m : white noise of one recorded height [m].
    """

    grade_walk_per_root_m: float
    tile_sd_m: float
    tile_length_m: float
    tile_white_m2_m: float
    wander_sd_m: float
    wander_s: float
    weather_walk_m_per_root_s: float
    recorded_white_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """What was seen at the nodes, about a common level; arrays (k,).

    Parameters
    ----------
    spacing_m : distance between nodes [m].
    leg_s : (k−1,) time from node to node, stand-stills included [s].
    tile_m : height of the terrain [m], NaN where it is unknown or not to be used.
    tile_extra_sd_m : standard deviation that the source adds where it filled a void [m].
    recorded_m : mean of the recorded heights [m], NaN without any.
    count : number of recorded heights.
    unruly : True where the road need not follow the ground: on structures.
    new_datum : (k−1,) True where the recording was set anew from a node to the next.
    """

    spacing_m: float
    leg_s: FloatArray
    tile_m: FloatArray
    tile_extra_sd_m: FloatArray
    recorded_m: FloatArray
    count: FloatArray
    unruly: BoolArray
    new_datum: BoolArray

    def __len__(self) -> int:
        return len(self.tile_m)

    @property
    def has_tile(self) -> bool:
        """Whether the terrain is known anywhere."""
        return bool(np.isfinite(self.tile_m).any())

    @property
    def has_recording(self) -> bool:
        """Whether a height was recorded anywhere."""
        return bool(np.isfinite(self.recorded_m).any())

    def off_ground(self, where: BoolArray) -> Observed:
        """The same without terrain where the road leaves it."""
        tile = np.where(where, np.nan, self.tile_m)
        return replace(self, tile_m=tile, unruly=self.unruly | where)

    def cut(self, starts: list[int], length: int) -> Observed:
        """Stretches of one length, side by side: arrays (j, length) and (j, length − 1)."""
        node = [slice(start, start + length) for start in starts]
        leg = [slice(start, start + length - 1) for start in starts]
        return Observed(
            spacing_m=self.spacing_m,
            leg_s=np.array([self.leg_s[at] for at in leg]),
            tile_m=np.array([self.tile_m[at] for at in node]),
            tile_extra_sd_m=np.array([self.tile_extra_sd_m[at] for at in node]),
            recorded_m=np.array([self.recorded_m[at] for at in node]),
            count=np.array([self.count[at] for at in node]),
            unruly=np.array([self.unruly[at] for at in node]),
            new_datum=np.array([self.new_datum[at] for at in leg]),
        )

    def thinned(self, step: int) -> Observed:
        """Every `step`-th node only, with the recorded heights between gathered at them.

        Arrays may be those of stretches, side by side.
        """
        if step <= 1:
            return self
        kept = np.arange(0, self.tile_m.shape[-1], step)
        nearest, legs = np.maximum(kept - step // 2, 0), len(kept) - 1
        count = np.add.reduceat(self.count, nearest, axis=-1)
        heights = np.where(self.count > 0, self.count * self.recorded_m, 0.0)
        total = np.add.reduceat(heights, nearest, axis=-1)
        return Observed(
            spacing_m=step * self.spacing_m,
            leg_s=np.add.reduceat(self.leg_s, kept[:-1], axis=-1)[..., :legs],
            tile_m=self.tile_m[..., ::step],
            tile_extra_sd_m=self.tile_extra_sd_m[..., ::step],
            recorded_m=np.divide(total, count, out=np.full(count.shape, np.nan), where=count > 0),
            count=count,
            unruly=self.unruly[..., ::step],
            new_datum=np.logical_or.reduceat(self.new_datum, kept[:-1], axis=-1)[..., :legs],
        )
