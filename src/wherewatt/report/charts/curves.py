"""A ride thinned to as many places as a chart can show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from wherewatt.allocate.ledger import Z90
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.report.backdrop import MapWindow, window_of
from wherewatt.report.charts.parts import numbers
from wherewatt.report.result import RideResult
from wherewatt.report.wording import surface_words

_MOST_POINTS = 900  # more than the eye can tell apart


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """The ride at k places, edges of sections among them; arrays (k,).

    Parameters
    ----------
    window : the plane that `east_m` and `north_m` lie in.
    edge : (sections + 1,) index of the places where sections begin, and of the last place.
    distance_m, east_m, north_m, height_m, speed_m_s : where, and how fast.
    section : number of the section, from 0.
    used_wh : energy used since the start [Wh].
    left, left_sd : share of the energy that remains and its standard deviation [1].
    """

    window: MapWindow
    edge: IntArray
    distance_m: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    height_m: FloatArray
    speed_m_s: FloatArray
    section: IntArray
    used_wh: FloatArray
    left: FloatArray
    left_sd: FloatArray

    def carried(self, *, charge_known: bool) -> dict[str, Any]:
        """What goes to the page's script, rounded to what can be seen.

        Without a call-out nothing is known of the charge, so it is left out.
        """
        ride: dict[str, Any] = {
            "distance_m": numbers(self.distance_m, 1),
            "east_m": numbers(self.east_m, 1),
            "north_m": numbers(self.north_m, 1),
            "height_m": numbers(self.height_m, 1),
            "speed_m_s": numbers(self.speed_m_s, 2),
            "section": self.section.tolist(),
            "used_wh": numbers(self.used_wh, 1),
        }
        if charge_known:
            ride["left_pct"] = numbers(100.0 * self.left, 1)
            ride["left_half_pct"] = numbers(100.0 * Z90 * self.left_sd, 1)
        return ride


def curves_of(result: RideResult) -> Curves:
    """Thin a ride out."""
    ride, sections = result.ride, result.sections
    edges = sections.edges
    kept = np.union1d(_thinned(ride.distance_m), edges)
    window = result.backdrop.window if result.backdrop is not None else window_of(ride)
    east, north = window.on_plane(ride.latitude_deg[kept], ride.longitude_deg[kept])
    left, left_sd = result.remaining
    return Curves(
        window=window,
        edge=np.searchsorted(kept, edges),
        distance_m=ride.distance_m[kept],
        east_m=east,
        north_m=north,
        height_m=result.height_m[kept],
        speed_m_s=ride.speed_m_s[kept],
        section=np.append(sections.leg_section, len(sections) - 1)[kept],
        used_wh=result.used_wh[kept],
        left=left[kept],
        left_sd=left_sd[kept],
    )


def section_natures(result: RideResult) -> list[str]:
    """What each section is, in words: ``climb, gravel``."""
    sections = result.sections
    labels = zip(sections.terrain, sections.flow, sections.surface, sections.structure, strict=True)
    return [
        ", ".join([terrain, *([flow] if flow != "steady" else []), surface_words(*on)])
        for terrain, flow, *on in labels
    ]


def _thinned(distance_m: FloatArray) -> IntArray:
    """Points that are enough to draw a line, the ends among them."""
    wanted = np.linspace(distance_m[0], distance_m[-1], _MOST_POINTS)
    found = np.minimum(np.searchsorted(distance_m, wanted), len(distance_m) - 1)
    return np.unique(np.concatenate([[0], found, [len(distance_m) - 1]]))
