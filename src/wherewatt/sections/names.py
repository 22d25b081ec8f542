"""Short names for what a ride goes over: "climb at 6.2 km", the same in every output."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from wherewatt.arrays import runs
from wherewatt.sections.cutting import Sections
from wherewatt.sections.flow import FlowClass
from wherewatt.sections.terrain_class import TerrainClass


class FeatureKind(StrEnum):
    """What a feature is; the more telling kinds first."""

    BRIDGE = "bridge"
    TUNNEL = "tunnel"
    CUTTING = "cutting"
    CLIMB = "climb"
    DESCENT = "descent"
    STOP_AND_GO = "stop-and-go"
    FLAT = "flat"


STRUCTURES = (FeatureKind.BRIDGE, FeatureKind.TUNNEL, FeatureKind.CUTTING)
_TERRAIN = {
    FeatureKind.CLIMB: TerrainClass.CLIMB,
    FeatureKind.DESCENT: TerrainClass.DESCENT,
    FeatureKind.FLAT: TerrainClass.FLAT,
}
_FINEST_DECIMALS = 3  # of a kilometre


@dataclass(frozen=True, slots=True)
class Feature:
    """A stretch of a ride that is one thing, though surfaces may cut it into several sections.

    Parameters
    ----------
    name : unique within the ride.
    kind : what it is.
    first, end : half-open range of its sections, from 0.
    start_m, end_m : where it begins and ends [m].
    """

    name: str
    kind: FeatureKind
    first: int
    end: int
    start_m: float
    end_m: float


def find_features(sections: Sections) -> tuple[Feature, ...]:
    """Features of a ride in order of their start; they may overlap, as a bridge within a climb.

    Neighbouring sections with the same terrain, flow or structure are one feature of that kind. A
    flat is one only where it is ridden steadily. The name says where a feature begins, in
    kilometres whatever the unit of a report, to a tenth; finer where two would have the same.
    """
    edge_m = sections.edge_m
    found = [
        Feature("", kind, first, end, float(edge_m[first]), float(edge_m[end]))
        for kind, first, end in _stretches(sections)
    ]
    order = list(FeatureKind)
    found.sort(key=lambda feature: (feature.first, order.index(feature.kind)))
    return tuple(
        replace(feature, name=name) for feature, name in zip(found, _names(found), strict=True)
    )


def section_names(sections: Sections, features: Sequence[Feature]) -> tuple[str, ...]:
    """(k,) name of each section: of the most telling feature that it is part of."""
    names = [""] * len(sections)
    order = list(FeatureKind)
    for feature in sorted(features, key=lambda one: order.index(one.kind), reverse=True):
        for section in range(feature.first, feature.end):
            names[section] = feature.name
    return tuple(names)


def _stretches(sections: Sections) -> Iterator[tuple[FeatureKind, int, int]]:
    terrain, flow, structure = (
        np.array(labels, dtype=object)
        for labels in (sections.terrain, sections.flow, sections.structure)
    )
    busy = flow == FlowClass.STOP_AND_GO
    for kind in FeatureKind:
        if kind in STRUCTURES:
            here = structure == kind
        elif kind is FeatureKind.STOP_AND_GO:
            here = busy
        else:
            here = terrain == _TERRAIN[kind]
            if kind is FeatureKind.FLAT:
                here = here & ~busy
        for first, end in runs(here):
            yield kind, first, end


def _names(features: Sequence[Feature]) -> list[str]:
    """Names to a tenth of a kilometre; what is still alike finer, in the end numbered."""
    names = [_name(feature, 1) for feature in features]
    for decimals in range(2, _FINEST_DECIMALS + 1):
        alike = Counter(names)
        names = [
            _name(feature, decimals) if alike[name] > 1 else name
            for feature, name in zip(features, names, strict=True)
        ]
    alike, seen = Counter(names), Counter[str]()
    for at, name in enumerate(names):
        if alike[name] > 1:  # features that begin at the same metre: nothing was ridden between
            seen[name] += 1
            names[at] = f"{name}, {seen[name]}"
    return names


def _name(feature: Feature, decimals: int) -> str:
    return f"{feature.kind} at {feature.start_m / 1000.0:.{decimals}f} km"
