"""A way to go: cells of even length with height, direction and surface, and where it stops."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.ingest.track import Note


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A way to go, in k cells between k + 1 edges.

    Parameters
    ----------
    name : for people.
    edge_m : (k+1,) distance of the cells' edges from the start [m]; rises strictly from zero.
    height_m : (k+1,) height at the edges [m].
    heading_rad : (k,) direction of travel, clockwise from north [rad].
    surface : (k,) index into `surfaces`.
    surfaces : names of the surfaces.
    stops_m : (s,) where it stops on the way, in order, ends apart [m].
    loop : True if it ends where it starts, so that it can be ridden round and round.
    notes : what was odd and what was done about it.
    """

    name: str
    edge_m: FloatArray
    height_m: FloatArray
    heading_rad: FloatArray
    surface: IntArray
    surfaces: tuple[str, ...]
    stops_m: FloatArray
    loop: bool
    notes: tuple[Note, ...] = ()

    @property
    def length_m(self) -> float:
        """Length of the way [m]."""
        return float(self.edge_m[-1])

    @property
    def cell_m(self) -> FloatArray:
        """(k,) lengths of the cells [m]."""
        return np.diff(self.edge_m)

    @property
    def ascent_m(self) -> float:
        """Sum of all that goes up [m]."""
        return float(np.maximum(np.diff(self.height_m), 0.0).sum())

    def height_at(self, distance_m: FloatArray) -> FloatArray:
        """Height at distances from the start [m]."""
        return np.interp(distance_m, self.edge_m, self.height_m)

    def cell_at(self, distance_m: FloatArray) -> IntArray:
        """Cell in which a distance from the start lies; the later one at an edge."""
        cell = np.searchsorted(self.edge_m, distance_m, side="right") - 1
        return np.clip(cell, 0, len(self.heading_rad) - 1)

    def cut_at(self, distance_m: FloatArray) -> Course:
        """The same way with cells that also end at the given distances."""
        inside = distance_m[(distance_m > 0.0) & (distance_m < self.length_m)]
        edge = np.union1d(self.edge_m, inside)
        cell = self.cell_at((edge[1:] + edge[:-1]) / 2.0)
        return replace(
            self,
            edge_m=edge,
            height_m=self.height_at(edge),
            heading_rad=self.heading_rad[cell],
            surface=self.surface[cell],
        )

    def between(self, start_m: float, end_m: float) -> Course:
        """The part of the way between two distances from the start, counted from its own start."""
        cut = self.cut_at(np.array([start_m, end_m]))
        edges = (cut.edge_m >= start_m) & (cut.edge_m <= end_m)
        cells = edges[1:] & edges[:-1]
        stops = self.stops_m[(self.stops_m > start_m) & (self.stops_m < end_m)]
        return replace(
            cut,
            edge_m=cut.edge_m[edges] - max(start_m, 0.0),
            height_m=cut.height_m[edges],
            heading_rad=cut.heading_rad[cells],
            surface=cut.surface[cells],
            stops_m=stops - max(start_m, 0.0),
            loop=False,
        )

    def reversed(self) -> Course:
        """The way home: the same road from its end to its start."""
        return replace(
            self,
            edge_m=self.length_m - self.edge_m[::-1],
            height_m=self.height_m[::-1],
            heading_rad=self.heading_rad[::-1] + np.pi,
            surface=self.surface[::-1],
            stops_m=self.length_m - self.stops_m[::-1],
        )

    def followed_by(self, other: Course) -> Course:
        """A longer way: this one, then another from where it ends; heights are joined there."""
        surfaces = tuple(sorted({*self.surfaces, *other.surfaces}))
        lift = self.height_m[-1] - other.height_m[0]
        return replace(
            self,
            edge_m=np.concatenate([self.edge_m, self.length_m + other.edge_m[1:]]),
            height_m=np.concatenate([self.height_m, lift + other.height_m[1:]]),
            heading_rad=np.concatenate([self.heading_rad, other.heading_rad]),
            surface=np.concatenate([self._index_in(surfaces), other._index_in(surfaces)]),
            surfaces=surfaces,
            stops_m=np.concatenate([self.stops_m, [self.length_m], self.length_m + other.stops_m]),
        )

    def lap(self) -> Course:
        """What can be ridden again and again: a loop itself, else there and back."""
        return self if self.loop else replace(self.followed_by(self.reversed()), loop=True)

    def on(self, surface: str) -> Course:
        """The same way with one surface throughout."""
        return replace(self, surface=np.zeros_like(self.surface), surfaces=(surface,))

    def with_stops(self, stops_per_km: float) -> Course:
        """The same way with stops spread evenly, instead of those it has."""
        number = round(self.length_m * stops_per_km / 1000.0)
        share = (np.arange(float(number)) + 0.5) / max(number, 1)
        return replace(self, stops_m=self.length_m * share)

    def _index_in(self, surfaces: tuple[str, ...]) -> IntArray:
        places = np.array([surfaces.index(name) for name in self.surfaces], dtype=np.intp)
        return places[self.surface]
