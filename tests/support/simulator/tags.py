"""Surface tags by hand: the true runs of surface, their edges a few metres off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .noise import FloatArray
from .surfaces import SURFACE_NAMES

SHORTEST_TAG_M = 25.0
"""Nobody tags a shorter stretch: it goes with the one before."""


@dataclass(frozen=True, slots=True)
class Tag:
    """One tagged stretch.

    Attributes
    ----------
    from_at, to_at : str
        Its ends as written, distances in kilometres or miles.
    surface : str
        Name of the surface.
    structure : str
        ``"bridge"`` or empty.
    """

    from_at: str
    to_at: str
    surface: str
    structure: str


def tag_surfaces(
    distance_m: FloatArray,
    surface: NDArray[np.int64],
    on_bridge: NDArray[np.bool_],
    units: str,
    rng: np.random.Generator,
) -> tuple[Tag, ...]:
    """Tag the surfaces of a ride.

    Parameters
    ----------
    distance_m : array, shape (n + 1,)
        Distance a tagger would find on the recorded track [m].
    surface, on_bridge : array, shape (n,)
        Surface index and whether on a bridge, per step.
    units : str
        ``"km"`` or ``"mi"``.
    rng : numpy.random.Generator
        Source of randomness. Half of the taggers are exact; the others are up to 10 m off.

    Returns
    -------
    tuple of Tag
        In order, touching, covering the ride.
    """
    kind = 2 * surface + on_bridge
    edges = np.flatnonzero(np.diff(kind)) + 1
    run_m = np.diff(distance_m[edges], append=distance_m[-1])
    edges = edges[run_m >= SHORTEST_TAG_M]
    places_m = distance_m[edges]
    if rng.random() < 0.5:
        places_m = places_m + rng.uniform(-10.0, 10.0, edges.size)
    places_m = np.maximum.accumulate(np.concatenate([[0.0], places_m, [distance_m[-1]]]))
    # The last edge must not come out beyond the end of the ride by rounding.
    unit_m = 1_609.344 if units == "mi" else 1_000.0
    most = np.floor(1e3 * distance_m[-1] / unit_m) / 1e3
    written = np.minimum(np.round(places_m / unit_m, 3), most)
    texts = [f"{place:.3f} {units}" for place in written]
    kinds = kind[np.concatenate([[0], edges])]
    return tuple(
        Tag(texts[i], texts[i + 1], SURFACE_NAMES[code // 2], "bridge" if code % 2 else "")
        for i, code in enumerate(kinds.tolist())
    )
