"""Which legs run along a line that was tagged for every ride."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.ride import Ride
from wherewatt.sections.nearby import Pieces, Steps, find_nearby
from wherewatt.sections.settings import PlaceSettings
from wherewatt.sections.tracing import Candidates, best_lines

_STEPS_IN_REACH = 3.0  # steps along the ride, to be fine beside the reach
_BELIEVED_REACHES = 2.0  # what is followed for less than this many reaches is not believed


def match_places(ride: Ride, places: Sequence[TaggedLine], settings: PlaceSettings) -> IntArray:
    """(n−1,) index of the tagged line that each leg runs along, −1 for none.

    A ride runs along a line where it is within reach of it and parallel to it, either way round.
    Of all ways to follow lines the one is taken that stays nearest to them over the whole ride,
    with a price for every line taken up: the nearer of two parallel lines wins, though the
    positions err by some metres, and crossings and short holes are not believed.
    """
    total = float(ride.distance_m[-1])
    if not places or total <= 0.0:
        return np.full(len(ride.standing), -1, dtype=np.intp)
    count = max(1, round(_STEPS_IN_REACH * total / settings.reach_m))
    step_m = total / count
    origin = float(ride.longitude_deg[0])
    steps = Steps.along(ride, step_m * (np.arange(float(count)) + 0.5), origin)
    pieces = _pieces(places, origin)
    believed_m = np.minimum(_BELIEVED_REACHES * settings.reach_m, pieces.line_m(len(places)) / 2.0)
    lines = best_lines(_candidates(steps, pieces, settings), step_m, believed_m)
    middle = (ride.distance_m[1:] + ride.distance_m[:-1]) / 2.0
    return lines[np.minimum(count - 1, (middle / step_m).astype(np.intp))]


def at_structures(
    ride: Ride, time_s: FloatArray, places: Sequence[TaggedLine], settings: PlaceSettings
) -> BoolArray:
    """True at those times [s] at which the ride runs along a place tagged with a structure."""
    structures = [place for place in places if place.structure]
    if not structures:
        return np.zeros(len(time_s), dtype=bool)
    along = match_places(ride, structures, settings) >= 0
    return np.asarray(along[np.searchsorted(ride.time_s[1:-1], time_s)])


def _pieces(places: Sequence[TaggedLine], origin_deg: float) -> Pieces:
    sizes = np.array([len(place.longitude_deg) for place in places])
    return Pieces.between(
        np.concatenate([place.longitude_deg for place in places]),
        np.concatenate([place.latitude_deg for place in places]),
        np.repeat(np.arange(len(places)), sizes),
        origin_deg,
    )


def _candidates(steps: Steps, pieces: Pieces, settings: PlaceSettings) -> Candidates:
    """The lines near each step and what it costs to follow them; 1 is as good as none."""
    near = find_nearby(steps, pieces, settings.reach_m)
    most_off = np.radians(settings.direction_deg)
    off = np.abs(np.angle(np.exp(2j * near.turn_rad))) / 2.0  # either way round
    cost = np.square(near.distance_m / settings.reach_m) + np.square(off / most_off)
    # Beyond the end of a piece there is only the outer side of a bend.
    good = (cost < 1.0) & (near.beyond_m <= near.aside_m * np.tan(most_off))
    return Candidates.nearest(
        len(steps.distance_m), near.step[good], pieces.owner[near.piece[good]], cost[good]
    )
