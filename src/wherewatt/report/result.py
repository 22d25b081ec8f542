"""All that is known of one ride once it has been through every room."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.ledger import Ledger
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.ingest.recording import Recording
from wherewatt.ingest.track import Note
from wherewatt.library import Learned
from wherewatt.motion.ride import Ride
from wherewatt.report.backdrop import Backdrop
from wherewatt.sections.cutting import Sections
from wherewatt.terrain.ascent import ascent_and_descent
from wherewatt.terrain.profile import Profile


@dataclass(frozen=True, slots=True, eq=False)
class RideResult:
    """A ride and its energy.

    Parameters
    ----------
    recording : the track and its side files, as read.
    profile : height along the ride.
    estimate : the estimate, with the cut ride it was made on.
    ledger : energy by section and cause.
    notes : everything odd, and what was done about it.
    learned : what the ride said of its vehicle, where a library keeps that.
    backdrop : the land around it, to draw its course on; None where its height is not known or
        nothing is to be drawn.
    """

    recording: Recording
    profile: Profile
    estimate: Estimate
    ledger: Ledger
    notes: tuple[Note, ...]
    backdrop: Backdrop | None = None
    learned: Learned | None = None

    @property
    def name(self) -> str:
        """Name of the ride."""
        return self.recording.track.stem

    @property
    def sections(self) -> Sections:
        """The sections of the ride."""
        return self.estimate.evidence.sections

    @property
    def ride(self) -> Ride:
        """The ride, with points at the edges of sections and at call-outs."""
        return self.sections.ride

    @property
    def height_m(self) -> FloatArray:
        """(n,) blended height at the points [m]."""
        return _height_m(self)

    @property
    def leg_wh(self) -> FloatArray:
        """(n − 1,) energy of the legs [Wh]."""
        return _leg_wh(self)

    @property
    def used_wh(self) -> FloatArray:
        """(n,) energy used up to the points [Wh]."""
        return np.concatenate([[0.0], np.cumsum(self.leg_wh)])

    @property
    def ascent_and_descent_m(self) -> tuple[FloatArray, FloatArray]:
        """(sections,) ascent and descent of the sections [m]."""
        sections = self.sections
        return ascent_and_descent(
            self.height_m, sections.leg_section, len(sections), self.profile.turn_m
        )

    @property
    def remaining(self) -> tuple[FloatArray, FloatArray]:
        """(n,) estimated share of the energy that remains at the points and its sd [1].

        The standard deviation counts the ways in which charge at the start, capacity and energy
        used can be off together.
        """
        return _remaining(self)

    def remaining_at(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(j,) the same at some times [s]; much faster where these are few."""
        left = np.interp(time_s, self.ride.time_s, _left(self))
        edge_s = _edge_times(self)
        behind = edge_s[1:-1].searchsorted(time_s) + 1
        edges = np.unique(np.concatenate([[0], behind - 1, behind]))
        return left, np.interp(time_s, edge_s[edges], _left_sd(self, edges))


@lru_cache(maxsize=1)  # many parts of a report show it
def _height_m(result: RideResult) -> FloatArray:
    """See `RideResult.height_m`."""
    return result.profile.height_at(result.ride.distance_m)


@lru_cache(maxsize=1)  # likewise
def _leg_wh(result: RideResult) -> FloatArray:
    """See `RideResult.leg_wh`."""
    return np.asarray(result.ledger.leg_wh.sum(axis=0))


@lru_cache(maxsize=1)  # likewise
def _remaining(result: RideResult) -> tuple[FloatArray, FloatArray]:
    """See `RideResult.remaining`."""
    edge_s = _edge_times(result)
    sd = _left_sd(result, np.arange(len(edge_s)))
    return _left(result), np.interp(result.ride.time_s, edge_s, sd)


def _left(result: RideResult) -> FloatArray:
    """(n,) share of the energy that remains at the points [1]."""
    values = result.estimate.values
    return np.asarray(values["start_charge"] - result.used_wh / values["battery_usable_wh"])


def _edge_times(result: RideResult) -> FloatArray:
    """Times of the edges of the cells [s]."""
    ride = result.ride
    return ride.time_s[np.append(result.estimate.cells.first_leg, len(ride.standing))]


def _left_sd(result: RideResult, edges: IntArray) -> FloatArray:
    """(j,) standard deviation of that share at some edges of the cells, in order [1]."""
    estimate = result.estimate
    values, parameters = estimate.values, estimate.evidence.parameters
    used, slopes = _used(estimate, edges)
    capacity = values["battery_usable_wh"]
    slope_of = parameters.slopes(estimate.solution.scores)
    gradient = -slopes / capacity
    gradient[:, parameters.index["start_charge"]] += slope_of["start_charge"]
    at_capacity = parameters.index["battery_usable_wh"]
    gradient[:, at_capacity] += used / capacity**2 * slope_of["battery_usable_wh"]
    return estimate.solution.sds(gradient)


def _used(estimate: Estimate, edges: IntArray) -> tuple[FloatArray, FloatArray]:
    """Energy used up to some edges of the cells [Wh], and its derivatives by the unknowns."""
    energy = estimate.cell_energy
    used = np.concatenate([[0.0], np.cumsum(energy.wh)])[edges]
    up_to = energy.cells.runs(np.append(0, edges[:-1]), edges)
    return used, np.cumsum(energy.summed(up_to), axis=0)
