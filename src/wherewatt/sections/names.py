"""Short names for what a ride goes over: "climb at 6.2 km", the same in every output."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from typing import NamedTuple

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
_RANK = {kind: rank for rank, kind in enumerate(FeatureKind)}
_KINDS = {str(kind): kind for kind in FeatureKind}
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
    found = sorted(_stretches(sections), key=lambda of: (of.first, _RANK[of.kind]))
    edge_m = sections.edge_m.tolist()
    names = _names([(of.kind, edge_m[of.first]) for of in found])
    return tuple(
        Feature(name, of.kind, of.first, of.end, edge_m[of.first], edge_m[of.end])
        for name, of in zip(names, found, strict=True)
    )


def section_names(sections: Sections, features: Sequence[Feature]) -> tuple[str, ...]:
    """(k,) name of each section: of the most telling feature that it is part of."""
    names = [""] * len(sections)
    for feature in sorted(features, key=lambda one: _RANK[one.kind], reverse=True):
        names[feature.first : feature.end] = [feature.name] * (feature.end - feature.first)
    return tuple(names)


class _Stretch(NamedTuple):
    """Sections from one to before another that are one thing."""

    kind: FeatureKind
    first: int
    end: int


def _stretches(sections: Sections) -> Iterator[_Stretch]:
    """Runs of sections of one kind: by structure, by flow and by terrain."""
    busy = [flow == FlowClass.STOP_AND_GO for flow in sections.flow]
    kinds: tuple[list[FeatureKind | None], ...] = (
        [_KINDS.get(structure) for structure in sections.structure],
        [FeatureKind.STOP_AND_GO if is_busy else None for is_busy in busy],
        [
            None if is_busy and terrain == TerrainClass.FLAT else _KINDS[terrain]
            for terrain, is_busy in zip(sections.terrain, busy, strict=True)
        ],
    )
    for labels in kinds:
        end = 0
        for kind, same in groupby(labels):
            first, end = end, end + sum(1 for _ in same)
            if kind is not None:
                yield _Stretch(kind, first, end)


def _names(features: Sequence[tuple[FeatureKind, float]]) -> list[str]:
    """Names to a tenth of a kilometre; what is still alike finer, in the end numbered.

    Parameters
    ----------
    features : what each is, and where it begins [m].
    """
    names = [_name(*feature, 1) for feature in features]
    for decimals in range(2, _FINEST_DECIMALS + 1):
        alike = Counter(names)
        names = [
            _name(*feature, decimals) if alike[name] > 1 else name
            for feature, name in zip(features, names, strict=True)
        ]
    alike, seen = Counter(names), Counter[str]()
    for at, name in enumerate(names):
        if alike[name] > 1:  # features that begin at the same metre: nothing was ridden between
            seen[name] += 1
            names[at] = f"{name}, {seen[name]}"
    return names


def _name(kind: FeatureKind, start_m: float, decimals: int) -> str:
    return f"{kind} at {start_m / 1000.0:.{decimals}f} km"
