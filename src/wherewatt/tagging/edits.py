"""What a person does to the tags of a ride: pure functions from tags to tags.

Surfaces and structures lie in two layers. Within a layer stretches do not overlap: what is laid
over others cuts them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

SAME_M = 0.5  # edges nearer than this are one: files are written to the metre
LEAST_M = 5.0  # an edge stops so far before the other end of its stretch


class Layer(StrEnum):
    """What a tag says something about."""

    SURFACE = "surface"
    STRUCTURE = "structure"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the ride with its surface or structure: distances from the start [m]."""

    start_m: float
    end_m: float
    label: str

    def is_same(self, other: Stretch) -> bool:
        """Whether another stretch says the same of the same stretch."""
        ends = abs(self.start_m - other.start_m), abs(self.end_m - other.end_m)
        return self.label == other.label and max(ends) <= SAME_M


Stretches = tuple[Stretch, ...]


@dataclass(frozen=True, slots=True)
class Tags:
    """The tags of a ride: in each layer sorted, none overlapping another."""

    surface: Stretches = ()
    structure: Stretches = ()

    def layer(self, layer: Layer) -> Stretches:
        """The stretches of one layer."""
        return self.surface if layer is Layer.SURFACE else self.structure

    def with_layer(self, layer: Layer, stretches: Stretches) -> Tags:
        """The tags with one layer replaced."""
        if layer is Layer.SURFACE:
            return replace(self, surface=stretches)
        return replace(self, structure=stretches)


@dataclass(frozen=True, slots=True)
class Paint:
    """Give a stretch a label. What it covers is cut; what it overlaps and is alike joins it."""

    layer: Layer
    stretch: Stretch


@dataclass(frozen=True, slots=True)
class Erase:
    """Take the tags of one layer off a stretch [m]."""

    layer: Layer
    start_m: float
    end_m: float


@dataclass(frozen=True, slots=True)
class MoveEdge:
    """Move the edge at one distance to another [m]; stretches that touch there move together."""

    layer: Layer
    from_m: float
    to_m: float


Edit = Paint | Erase | MoveEdge


def apply_edit(tags: Tags, edit: Edit) -> Tags:
    """Tags after an edit; the same if there is nothing for it to change."""
    before = tags.layer(edit.layer)
    match edit:
        case Paint():
            after = _painted(before, edit.stretch)
        case Erase():
            after = _cut(before, edit.start_m, edit.end_m)
        case MoveEdge():
            after = _edge_moved(before, edit)
    return tags.with_layer(edit.layer, after)


def apply_edits(tags: Tags, edits: Iterable[Edit]) -> tuple[Tags, int]:
    """Tags after some edits in order, and how many of these changed nothing."""
    idle = 0
    for edit in edits:
        after = apply_edit(tags, edit)
        idle += after == tags
        tags = after
    return tags, idle


def layer_of(stretches: Iterable[Stretch]) -> Stretches:
    """Sort stretches into a layer; where two overlap, the later one cuts the earlier."""
    layer: Stretches = ()
    for stretch in stretches:
        layer = _laid(layer, stretch)
    return layer


def _painted(layer: Stretches, new: Stretch) -> Stretches:
    if new.end_m - new.start_m <= SAME_M:
        return layer
    alike = [old for old in layer if old.label == new.label and _overlap(old, new)]
    start = min([new.start_m, *(old.start_m for old in alike)])
    end = max([new.end_m, *(old.end_m for old in alike)])
    return _laid(layer, Stretch(start, end, new.label))


def _laid(layer: Stretches, new: Stretch) -> Stretches:
    """The layer with a stretch laid over the others."""
    kept = _cut(layer, new.start_m, new.end_m)
    return tuple(sorted((*kept, new), key=lambda stretch: stretch.start_m))


def _cut(layer: Stretches, start_m: float, end_m: float) -> Stretches:
    """What is left of a layer outside a stretch."""
    left: list[Stretch] = []
    for old in layer:
        if old.end_m <= start_m or old.start_m >= end_m:
            left.append(old)
            continue
        pieces = (replace(old, end_m=start_m), replace(old, start_m=end_m))
        left += [piece for piece in pieces if piece.end_m - piece.start_m > SAME_M]
    return tuple(left)


def _edge_moved(layer: Stretches, edit: MoveEdge) -> Stretches:
    ending = next((old for old in layer if abs(old.end_m - edit.from_m) <= SAME_M), None)
    begun = next((old for old in layer if abs(old.start_m - edit.from_m) <= SAME_M), None)
    low = ending.start_m + LEAST_M if ending else -math.inf
    high = begun.end_m - LEAST_M if begun else math.inf
    if high < low:  # no room between two short stretches
        return layer
    to_m = min(max(edit.to_m, low), high)
    moved = tuple(old for old in layer if old not in (ending, begun))
    if ending:
        moved = _laid(moved, replace(ending, end_m=to_m))
    if begun:
        moved = _laid(moved, replace(begun, start_m=to_m))
    return moved


def _overlap(one: Stretch, other: Stretch) -> bool:
    return one.start_m < other.end_m - SAME_M and other.start_m < one.end_m - SAME_M
