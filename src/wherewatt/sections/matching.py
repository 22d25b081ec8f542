"""Two rides of the same course: which stretches they share, and which features are the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.motion.ride import Ride
from wherewatt.sections.chains import Passages, best_chain
from wherewatt.sections.cutting import Sections
from wherewatt.sections.names import Feature, FeatureKind, find_features
from wherewatt.sections.nearby import Pieces, Steps, find_nearby
from wherewatt.sections.settings import PlaceSettings

_STEPS_IN_REACH = 3.0
_SHORTEST_REACHES = 6.0  # sharing less is crossing; shorter holes are position errors
_LEAST_JACCARD = 0.5  # overlap over union from which two features are the same one


@dataclass(frozen=True, slots=True, eq=False)
class SharedStretch:
    """A stretch of road that both rides went along, the same way.

    Parameters
    ----------
    a_m, b_m : (k,) distances of the same places in each ride, both rising [m].
    """

    a_m: FloatArray
    b_m: FloatArray

    @property
    def ends_a_m(self) -> tuple[float, float]:
        """Where it begins and ends in the first ride [m]."""
        return float(self.a_m[0]), float(self.a_m[-1])

    @property
    def ends_b_m(self) -> tuple[float, float]:
        """Where it begins and ends in the second ride [m]."""
        return float(self.b_m[0]), float(self.b_m[-1])

    def in_b(self, a_m: FloatArray) -> FloatArray:
        """Distances in the second ride of places of the first [m]; NaN outside the stretch."""
        return np.asarray(np.interp(a_m, self.a_m, self.b_m, left=np.nan, right=np.nan))


@dataclass(frozen=True, slots=True)
class FeaturePair:
    """A feature of one ride and the same of the other, with their overlap over their union."""

    a: Feature
    b: Feature
    jaccard: float


@dataclass(frozen=True, slots=True, eq=False)
class SharedCourse:
    """What two rides have in common, in the order of the first."""

    stretches: tuple[SharedStretch, ...]
    features: tuple[FeaturePair, ...]


def match_sections(a: Sections, b: Sections, settings: PlaceSettings) -> SharedCourse:
    """Stretches and features that two cut rides share.

    Each feature is paired with the one of its kind that it overlaps most, if they overlap over at
    least half of their union; what only one ride went along counts against them.
    """
    stretches = match_rides(a.ride, b.ride, settings)
    return SharedCourse(stretches, _feature_pairs(find_features(a), find_features(b), stretches))


def match_rides(a: Ride, b: Ride, settings: PlaceSettings) -> tuple[SharedStretch, ...]:
    """Stretches of road that both rides went along, the same way, in the order of the first.

    Within a stretch both rides go forward: of all ways to lay one along the other the longest is
    taken, then the longest in what is left, so that rides may start elsewhere on a loop, leave
    the course and come back, cross themselves or go out and back.

    Parameters
    ----------
    a, b : the rides, of any sampling.
    settings : how near each other and how parallel two rides of one road are.
    """
    passages, step_m = _passages(a, b, settings)
    shortest_m = _SHORTEST_REACHES * settings.reach_m
    found: list[SharedStretch] = []
    while True:
        chain = best_chain(passages, reach_m=settings.reach_m, step_m=step_m)
        if len(chain) * step_m < shortest_m:
            break
        for part in _without_holes(passages, chain, shortest_m):
            a_m, b_m = passages.a_m[part], passages.b_m[part]
            if min(a_m[-1] - a_m[0], b_m[-1] - b_m[0]) >= shortest_m:
                found.append(SharedStretch(a_m, b_m))
        passages = passages.without(chain, 2.0 * step_m)
    return tuple(sorted(found, key=lambda stretch: stretch.a_m[0]))


def _passages(a: Ride, b: Ride, settings: PlaceSettings) -> tuple[Passages, float]:
    """Where the second ride passes each step of the first, and the length of a step [m]."""
    total = float(a.distance_m[-1])
    count = max(1, round(_STEPS_IN_REACH * total / settings.reach_m))
    origin = float(a.longitude_deg[0])
    steps = Steps.along(a, np.linspace(0.0, total, count + 1), origin)
    moving = np.concatenate([[True], np.diff(b.distance_m) > 0.0])
    way_m = b.distance_m[moving]
    latitude, longitude = b.latitude_deg[moving], b.longitude_deg[moving]
    legs = np.arange(len(way_m) - 1)
    # Every leg is a line of its own, so that its number tells where in the ride it lies.
    pieces = Pieces.between(
        np.column_stack([longitude[:-1], longitude[1:]]).ravel(),
        np.column_stack([latitude[:-1], latitude[1:]]).ravel(),
        np.repeat(legs, 2),
        origin,
    )
    near = find_nearby(steps, pieces, settings.reach_m)
    good = (near.distance_m <= settings.reach_m) & (
        np.abs(near.turn_rad) <= np.radians(settings.direction_deg)
    )
    leg = pieces.owner[near.piece[good]]
    b_m = way_m[leg] + near.part[good] * (way_m[leg + 1] - way_m[leg])
    passages = Passages.nearest(
        steps.distance_m[near.step[good]], b_m, near.distance_m[good], 3.0 * settings.reach_m
    )
    return passages, total / count


def _without_holes(passages: Passages, chain: IntArray, longest_m: float) -> list[IntArray]:
    """The chain cut where either ride goes on alone for longer than that."""
    alone = np.maximum(np.diff(passages.a_m[chain]), np.diff(passages.b_m[chain]))
    return np.split(chain, np.flatnonzero(alone > longest_m) + 1)


def _feature_pairs(
    a: tuple[Feature, ...], b: tuple[Feature, ...], stretches: tuple[SharedStretch, ...]
) -> tuple[FeaturePair, ...]:
    pairs = []
    for kind in FeatureKind:
        of_a = [feature for feature in a if feature.kind is kind]
        of_b = [feature for feature in b if feature.kind is kind]
        for one in of_a:
            for other in of_b:
                jaccard = _jaccard(one, other, stretches)
                if jaccard >= _LEAST_JACCARD:
                    pairs.append(FeaturePair(one, other, jaccard))
    chosen: list[FeaturePair] = []
    for pair in sorted(pairs, key=lambda pair: -pair.jaccard):
        if all(pair.a is not taken.a and pair.b is not taken.b for taken in chosen):
            chosen.append(pair)
    return tuple(sorted(chosen, key=lambda pair: a.index(pair.a)))


def _jaccard(a: Feature, b: Feature, stretches: tuple[SharedStretch, ...]) -> float:
    """Shared length of two features over the length of both together, by the first ride's way."""
    common = 0.0
    for stretch in stretches:
        start, end = np.interp([b.start_m, b.end_m], stretch.b_m, stretch.a_m)
        low, high = max(a.start_m, stretch.a_m[0]), min(a.end_m, stretch.a_m[-1])
        common += max(0.0, float(min(high, end) - max(low, start)))
    either = (a.end_m - a.start_m) + (b.end_m - b.start_m) - common
    return common / either if either > 0.0 else 0.0
