"""What a source of terrain height gives, and how one source completes another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.ingest.track import Note
from wherewatt.text import counted

# Error of a filled void per metre to the nearest known post: the root mean square of 0.12 near the
# rim and 0.05 at 700 m, in holes punched into a public 3″ tile of hilly land (0.10 and 0.05 in a
# gentler one). tests/outside/test_voids.py measures it anew.
VOID_SD_PER_M = 0.12


@dataclass(frozen=True, slots=True, eq=False)
class TerrainSample:
    """Terrain height at n places.

    Parameters
    ----------
    height_m : (n,) height [m]; NaN where no source has one.
    void_m : (n,) distance to the posts that the height had to be taken from [m]: 0 where the
        posts around the place are known, infinite where there is no height.
    post_spacing_m : (n,) distance between posts of the source used [m]; NaN where there is none.
    notes : what was odd and what was done about it.
    """

    height_m: FloatArray
    void_m: FloatArray
    post_spacing_m: FloatArray
    notes: tuple[Note, ...] = ()

    @property
    def extra_sd_m(self) -> FloatArray:
        """(n,) standard deviation that filling voids adds [m]; 0 where nothing was filled."""
        return VOID_SD_PER_M * np.where(np.isfinite(self.void_m), self.void_m, 0.0)

    def write(self, at: IntArray, other: TerrainSample) -> None:
        """Overwrite places with those of another sample where its heights are surer."""
        surer = other.void_m < self.void_m[at]
        to = at[surer]
        self.height_m[to] = other.height_m[surer]
        self.void_m[to] = other.void_m[surer]
        self.post_spacing_m[to] = other.post_spacing_m[surer]

    def noted(self) -> TerrainSample:
        """The same, with a note if voids were filled."""
        filled = np.isfinite(self.void_m) & (self.void_m > 0.0)
        if not filled.any():
            return self
        number = int(np.count_nonzero(filled))
        places = f"{counted(number, 'place')} {'lies' if number == 1 else 'lie'}"
        reach_m = max(1, round(float(np.max(self.void_m[filled]))))
        message = f"{places} over voids of the terrain: filled from up to {reach_m} m away"
        return replace(self, notes=(*self.notes, Note("terrain-voids", message)))


def unknown_terrain(places: int) -> TerrainSample:
    """Sample of n places of which nothing is known."""
    return TerrainSample(np.full(places, np.nan), np.full(places, np.inf), np.full(places, np.nan))


class TerrainSource(Protocol):
    """Anything that knows terrain heights."""

    def survey(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> TerrainSample:
        """Heights at n finite places, longitudes within ±180°.

        Raises
        ------
        TerrainError
            If a file that is there cannot be read.
        """
        ...
