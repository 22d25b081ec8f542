"""One cut from three labels: terrain, flow and surface (with its structures)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.ride import Ride
from wherewatt.sections import flow, terrain_class
from wherewatt.sections.places import match_places
from wherewatt.sections.settings import PlaceSettings, SectionSettings
from wherewatt.sections.surface import UNTAGGED, TimedTag, label_legs
from wherewatt.terrain.profile import Profile

_SAME_M = 1e-6  # edges lie on a grid: which of two anchors is nearer must not hang on rounding


@dataclass(frozen=True, eq=False)
class Sections:
    """A partition of a ride's legs.

    Parameters
    ----------
    ride : the ride, with points added where sections begin.
    leg_section : (n−1,) section of each leg, 0, 1 … without holes and never falling.
    terrain, flow, surface, structure : (k,) label of each section.
    """

    ride: Ride
    leg_section: IntArray
    terrain: tuple[str, ...]
    flow: tuple[str, ...]
    surface: tuple[str, ...]
    structure: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.terrain)

    @cached_property
    def edges(self) -> IntArray:
        """(k+1,) points at which sections begin, and the last one of the ride."""
        begins = np.flatnonzero(self.leg_section[1:] != self.leg_section[:-1]) + 1
        return np.concatenate([[0], begins, [len(self.leg_section)]])

    @property
    def first_leg(self) -> IntArray:
        """(k,) index of the first leg of each section."""
        return self.edges[:-1]

    def total(self, values: FloatArray) -> FloatArray:
        """(k,) sums over the legs of each section."""
        return np.asarray(np.add.reduceat(values, self.first_leg), dtype=np.float64)

    @property
    def edge_m(self) -> FloatArray:
        """(k+1,) distances at which sections begin, and the end of the ride [m]."""
        return self.ride.distance_m[self.edges]


def cut_sections(
    ride: Ride,
    profile: Profile,
    *,
    tags: Sequence[TimedTag],
    places: Sequence[TaggedLine],
    settings: SectionSettings,
    place_settings: PlaceSettings,
) -> Sections:
    """Cut a ride where terrain, flow, surface or structure change.

    Edges of hand tags are exact; an edge of terrain or flow close to another edge moves there.
    """
    ride = ride.split(np.array([time for tag in tags for time in (tag.start_s, tag.end_s)]))
    terrain_cells, flow_cells, spacing = _grid_labels(ride, profile, settings)
    surface, structure = _surfaces(ride, profile, tags, places, place_settings)
    anchors = np.concatenate([ride.time_s[[0, -1]], surface.edge_s, structure.edge_s])
    columns: list[_Column] = []
    for names, cells in ((terrain_class.CLASSES, terrain_cells), (flow.CLASSES, flow_cells)):
        edge_m = spacing * _changes(cells).astype(np.float64)
        edge_s = _edge_times(ride, edge_m, anchors, settings.snap_m)
        columns.append(_Column.of(cells, edge_s, [str(name) for name in names]))
        anchors = np.concatenate([anchors, edge_s])
    whole = ride.split(np.concatenate([column.edge_s for column in columns]))
    return _sections(whole, [*columns, surface, structure])


@dataclass(frozen=True, slots=True, eq=False)
class _Column:
    """A ride cut by one kind of label into stretches.

    Parameters
    ----------
    edge_s : (k−1,) times at which one ends and the next begins [s].
    number : (k,) label of each, by its place among the names.
    names : the labels there are.
    """

    edge_s: FloatArray
    number: IntArray
    names: Sequence[str]

    @classmethod
    def of(cls, labels: IntArray, edge_s: FloatArray, names: Sequence[str]) -> _Column:
        """From a label for each of many pieces and the times at which the label changes."""
        return cls(edge_s, labels[np.append(0, _changes(labels))], names)


def _sections(ride: Ride, columns: Sequence[_Column]) -> Sections:
    """Cut the ride wherever a label changes; a leg has the labels that hold in its middle."""
    middle_s = (ride.time_s[1:] + ride.time_s[:-1]) / 2.0
    edges = [np.searchsorted(middle_s, column.edge_s, side="right") for column in columns]
    first = np.unique(np.concatenate([[0], *edges]))
    first = first[first < len(middle_s)]
    changed = np.arange(len(first)) == 0
    numbers = []
    for column, edge in zip(columns, edges, strict=True):
        number = column.number[np.searchsorted(edge, first, side="right")]
        changed[1:] |= number[1:] != number[:-1]
        numbers.append(number)
    labels = (
        tuple(column.names[index] for index in number[changed].tolist())
        for column, number in zip(columns, numbers, strict=True)
    )
    legs = np.diff(first[changed], append=len(middle_s))
    return Sections(ride, np.repeat(np.arange(len(legs)), legs), *labels)


def _grid_labels(
    ride: Ride, profile: Profile, settings: SectionSettings
) -> tuple[IntArray, IntArray, float]:
    total = float(ride.distance_m[-1])
    cells = max(1, round(total / settings.grid_m))
    grid = np.linspace(0.0, total, cells + 1)
    spacing = total / cells
    rise_sd = profile.rise_sd(settings.terrain_change_over_m)
    terrain = terrain_class.terrain_labels(profile.height_at(grid), spacing, rise_sd, settings)
    return terrain, flow.flow_labels(ride, cells, spacing, settings), spacing


def _surfaces(
    ride: Ride,
    profile: Profile,
    tags: Sequence[TimedTag],
    places: Sequence[TaggedLine],
    settings: PlaceSettings,
) -> tuple[_Column, _Column]:
    """Hand tags first, then tagged places, then what the height shows or "untagged"."""
    surfaces, surface = _tagged(ride, "surface", UNTAGGED, tags, places, settings)
    structures, structure = _tagged(ride, "structure", "", tags, places, settings)
    middle = (ride.distance_m[1:] + ride.distance_m[:-1]) / 2.0
    for found in profile.structures:
        here = slice(
            int(np.searchsorted(middle, found.start_m, side="left")),
            int(np.searchsorted(middle, found.end_m, side="right")),
        )
        if not structure[here].any():  # what the user tagged is not doubted
            structures = list(dict.fromkeys([*structures, found.kind]))
            structure[here] = structures.index(found.kind)
    return (
        _Column.of(surface, ride.time_s[_changes(surface)], surfaces),
        _Column.of(structure, ride.time_s[_changes(structure)], structures),
    )


def _tagged(
    ride: Ride,
    attribute: str,
    absent: str,
    tags: Sequence[TimedTag],
    places: Sequence[TaggedLine],
    settings: PlaceSettings,
) -> tuple[list[str], IntArray]:
    """Names, and for each leg the place of its own among them: 0 where nobody tagged it."""
    near = [place for place in places if getattr(place, attribute)]
    names = list(dict.fromkeys([absent, *(getattr(tag, attribute) for tag in (*tags, *near))]))
    number = label_legs(ride, tags, attribute, names)
    if near:
        of_place = [names.index(getattr(place, attribute)) for place in near]
        matched = np.array([*of_place, 0])[match_places(ride, near, settings)]
        number = np.where(number > 0, number, matched)
    return names, number


def _changes(labels: IntArray) -> IntArray:
    return np.flatnonzero(labels[1:] != labels[:-1]) + 1


def _edge_times(
    ride: Ride, edges_m: FloatArray, anchors_s: FloatArray, reach_m: float
) -> FloatArray:
    """Times of edges given by distance [s]: on arrival there, or at an anchor within reach."""
    rising = np.append(True, np.diff(ride.distance_m) > 0)
    arrival = np.interp(edges_m, ride.distance_m[rising], ride.time_s[rising])
    anchors_s = np.sort(anchors_s)
    anchors_m = np.interp(anchors_s, ride.time_s, ride.distance_m)
    after = np.clip(np.searchsorted(anchors_m, edges_m), 1, len(anchors_m) - 1)
    back, ahead = edges_m - anchors_m[after - 1], anchors_m[after] - edges_m
    nearest = np.where(back <= ahead + _SAME_M, after - 1, after)
    close = np.minimum(np.abs(back), np.abs(ahead)) <= reach_m + _SAME_M
    return np.maximum.accumulate(np.where(close, anchors_s[nearest], arrival))
