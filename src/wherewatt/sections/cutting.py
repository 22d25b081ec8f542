"""One cut from three labels: terrain, flow and surface (with its structures)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.ingest.places import TaggedLine
from wherewatt.motion.ride import Ride
from wherewatt.sections import flow, terrain_class
from wherewatt.sections.places import match_places
from wherewatt.sections.settings import PlaceSettings, SectionSettings
from wherewatt.sections.surface import UNTAGGED, Labels, TimedTag, label_legs
from wherewatt.terrain.profile import Profile


@dataclass(frozen=True, slots=True, eq=False)
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

    @property
    def first_leg(self) -> IntArray:
        """(k,) index of the first leg of each section."""
        return np.flatnonzero(np.diff(self.leg_section, prepend=-1))

    def total(self, values: FloatArray) -> FloatArray:
        """(k,) sums over the legs of each section."""
        return np.asarray(
            np.bincount(self.leg_section, weights=values, minlength=len(self)), dtype=np.float64
        )

    @property
    def edge_m(self) -> FloatArray:
        """(k+1,) distances at which sections begin, and the end of the ride [m]."""
        return self.ride.distance_m[np.append(self.first_leg, len(self.leg_section))]


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
    ends = ride.time_s[[0, -1]]
    fixed = np.concatenate([ends, _change_times(ride, [surface, structure])])
    terrain_times = _edge_times(
        ride, spacing * _changes(terrain_cells).astype(np.float64), fixed, settings.snap_m
    )
    flow_times = _edge_times(
        ride,
        spacing * _changes(flow_cells).astype(np.float64),
        np.concatenate([fixed, terrain_times]),
        settings.snap_m,
    )
    whole = ride.split(np.concatenate([terrain_times, flow_times]))
    middle = (whole.time_s[1:] + whole.time_s[:-1]) / 2.0
    old_leg = np.searchsorted(ride.time_s, middle) - 1
    terrain = _stretch_labels(terrain_cells)[np.searchsorted(terrain_times, middle)]
    flows = _stretch_labels(flow_cells)[np.searchsorted(flow_times, middle)]
    return _sections(
        whole,
        np.array([str(name) for name in terrain_class.CLASSES], dtype=object)[terrain],
        np.array([str(name) for name in flow.CLASSES], dtype=object)[flows],
        surface[old_leg],
        structure[old_leg],
    )


def _sections(
    ride: Ride, terrain: Labels, flows: Labels, surface: Labels, structure: Labels
) -> Sections:
    columns = (terrain, flows, surface, structure)
    changed = np.zeros(len(terrain), dtype=bool)
    for labels in columns:
        changed[1:] |= labels[1:] != labels[:-1]
    leg_section = np.cumsum(changed)
    first = np.flatnonzero(np.diff(leg_section, prepend=-1))
    return Sections(ride, leg_section, *(tuple(labels[first]) for labels in columns))


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
) -> tuple[Labels, Labels]:
    """Per leg: hand tags first, then tagged places, then what the height shows or "untagged"."""
    surface, structure = label_legs(ride, tags)
    for labels, attribute in ((surface, "surface"), (structure, "structure")):
        tagged = [place for place in places if getattr(place, attribute)]
        matched = match_places(ride, tagged, settings)
        for index in np.unique(matched[matched >= 0]).tolist():
            labels[(matched == index) & (labels == "")] = getattr(tagged[index], attribute)
    surface[surface == ""] = UNTAGGED
    middle = (ride.distance_m[1:] + ride.distance_m[:-1]) / 2.0
    for found in profile.structures:
        here = (middle >= found.start_m) & (middle <= found.end_m)
        if not (structure[here] != "").any():  # what the user tagged is not doubted
            structure[here] = found.kind
    return surface, structure


def _changes(labels: IntArray) -> IntArray:
    return np.flatnonzero(np.diff(labels)) + 1


def _stretch_labels(labels: IntArray) -> IntArray:
    """Label of each stretch of equal labels."""
    return labels[np.concatenate([[0], _changes(labels)])]


def _change_times(ride: Ride, columns: Sequence[Labels]) -> FloatArray:
    changed = np.zeros(len(ride.standing) - 1, dtype=bool)
    for labels in columns:
        changed |= labels[1:] != labels[:-1]
    return ride.time_s[1:-1][changed]


def _edge_times(
    ride: Ride, edges_m: FloatArray, anchors_s: FloatArray, reach_m: float
) -> FloatArray:
    """Times of edges given by distance [s]: on arrival there, or at an anchor within reach."""
    rising = np.concatenate([[True], np.diff(ride.distance_m) > 0])
    arrival = np.interp(edges_m, ride.distance_m[rising], ride.time_s[rising])
    anchors_m = np.interp(anchors_s, ride.time_s, ride.distance_m)
    nearest = np.argmin(np.abs(edges_m[:, None] - anchors_m), axis=1)
    close = np.abs(anchors_m[nearest] - edges_m) <= reach_m
    return np.maximum.accumulate(np.where(close, anchors_s[nearest], arrival))
