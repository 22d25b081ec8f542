"""All that is known of one ride once it has been through every room."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.ledger import Ledger
from wherewatt.arrays import FloatArray
from wherewatt.ingest.recording import Recording
from wherewatt.ingest.track import Note
from wherewatt.library import Learned
from wherewatt.motion.ride import Ride
from wherewatt.report.backdrop import Backdrop
from wherewatt.sections.cutting import Sections
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
    backdrop : the land around it, to draw its course on; None where its height is not known.
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
        return self.profile.height_at(self.ride.distance_m)

    @property
    def ascent_and_descent_m(self) -> tuple[FloatArray, FloatArray]:
        """(sections,) ascent and descent of the sections [m]."""
        sections = self.sections
        return self.profile.ascent_and_descent(
            self.ride.distance_m, sections.leg_section, len(sections)
        )

    @property
    def remaining(self) -> tuple[FloatArray, FloatArray]:
        """(n,) estimated share of the energy that remains at the points and its sd [1].

        The standard deviation counts the ways in which charge at the start, capacity and energy
        used can be off together.
        """
        return _remaining(self)


@lru_cache(maxsize=1)  # many parts of a report show it
def _remaining(result: RideResult) -> tuple[FloatArray, FloatArray]:
    """See `RideResult.remaining`."""
    estimate, ride = result.estimate, result.ride
    used, slopes = _used(estimate)
    values, parameters = estimate.values, estimate.evidence.parameters
    capacity, start = values["battery_usable_wh"], values["start_charge"]
    slope_of = parameters.slopes(estimate.solution.scores)
    gradient = -slopes / capacity
    gradient[:, parameters.index["start_charge"]] += slope_of["start_charge"]
    at_capacity = parameters.index["battery_usable_wh"]
    gradient[:, at_capacity] += used / capacity**2 * slope_of["battery_usable_wh"]
    variance = np.einsum("ij,jk,ik->i", gradient, estimate.solution.covariance, gradient)
    cell_time = ride.time_s[np.append(estimate.cells.first_leg, len(ride.standing))]
    sd = np.interp(ride.time_s, cell_time, np.sqrt(np.maximum(variance, 0.0)))
    spent = np.concatenate([[0.0], np.cumsum(result.ledger.leg_wh.sum(axis=0))])
    return start - spent / capacity, sd


def _used(estimate: Estimate) -> tuple[FloatArray, FloatArray]:
    """Energy used at the edges of the cells [Wh], and its derivatives by the unknowns."""
    energy = estimate.cell_energy
    used = np.concatenate([[0.0], np.cumsum(energy.wh)])
    slopes = np.vstack([np.zeros(energy.slopes.shape[1]), np.cumsum(energy.slopes, axis=0)])
    return used, slopes
