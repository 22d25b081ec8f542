"""Two or more rides compared: which vehicle goes farther on equal terms, and why they differed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from wherewatt.allocate.ledger import Measure
from wherewatt.config import Config
from wherewatt.library import Library
from wherewatt.outlook.equal_terms import OnEqualTerms, OnReference, on_equal_terms, on_reference
from wherewatt.outlook.knowledge import known_in_common, vehicle_in
from wherewatt.outlook.laid_beside import LaidBeside, laid_beside
from wherewatt.outlook.switching import OF_THE_DRIVE, Cause
from wherewatt.report.result import RideResult

# In the order in which people are told.
CAUSES = (*OF_THE_DRIVE, Cause.DAY, Cause.UNEXPLAINED, Cause.VEHICLE)


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A ride against the first one; differences are its own less those of the first.

    Parameters
    ----------
    first, other : the two.
    one_vehicle : True if both are rides of one vehicle.
    difference : consumption as ridden [Wh/km].
    by_cause : what each cause has in that [Wh/km]; they add up to `difference`.
    log_range : logarithm of the other's range on equal terms over the first's.
    chance : that the other vehicle goes farther on equal terms [1]; one half for one vehicle.
    beside : the ground that both went over; None where they share none.
    """

    first: OnEqualTerms
    other: OnEqualTerms
    one_vehicle: bool
    difference: Measure
    by_cause: Mapping[Cause, Measure]
    log_range: Measure
    chance: float
    beside: LaidBeside | None

    @property
    def farther(self) -> float:
        """How much farther the other vehicle goes on equal terms [1]."""
        return float(np.expm1(self.log_range.mean))

    @property
    def farther_90(self) -> tuple[float, float]:
        """The 90 % interval of that [1]."""
        ends = np.expm1([self.log_range.low90, self.log_range.high90])
        return float(ends[0]), float(ends[1])


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Rides on equal terms: all of them, and each against the first."""

    rides: tuple[OnEqualTerms, ...]
    pairs: tuple[Pair, ...]


def compare(
    results: Sequence[RideResult], config: Config, library: Library | None = None
) -> Comparison:
    """Compare rides on equal terms, each against the first.

    The first is the base, for whoever compares names first what the others are held against; a
    mean of all would change with every ride that is added.

    Parameters
    ----------
    results : two or more. Rides whose sheets name the same vehicle are taken as rides of one.
    library : what yet other rides said of the vehicles.
    """
    vehicles = _vehicles(results, config, library)
    rides = tuple(
        on_equal_terms(result, vehicle, config)
        for result, vehicle in zip(results, vehicles, strict=True)
    )
    first = rides[0]
    return Comparison(rides, tuple(pair_of(first, other, config) for other in rides[1:]))


def pair_of(first: OnEqualTerms, other: OnEqualTerms, config: Config) -> Pair:
    """One ride against another."""
    one_vehicle = first.vehicle is other.vehicle
    in_common = config.outlook.handbook_in_common
    more, farther = _apart_on_reference(first.vehicle, other.vehicle, in_common)
    by_cause: dict[Cause, Measure] = {
        cause: _less(other.apart[cause], first.apart[cause])
        for cause in CAUSES
        if cause is not Cause.VEHICLE
    }
    by_cause[Cause.VEHICLE] = more
    return Pair(
        first=first,
        other=other,
        one_vehicle=one_vehicle,
        difference=_less(other.wh_per_km, first.wh_per_km),
        by_cause=by_cause,
        log_range=farther,
        chance=0.5 if one_vehicle else float(ndtr(farther.mean / farther.sd)),
        beside=laid_beside(first.result, other.result, config.places),
    )


def _apart_on_reference(
    first: OnReference, other: OnReference, in_common: float
) -> tuple[Measure, Measure]:
    """Differences of consumption [Wh/km] and of the logarithm of the range, on the reference ride.

    Errors of the handbook that both vehicles share drop out of a difference.
    """
    if first is other:
        return Measure(0.0, 0.0), Measure(0.0, 0.0)
    names = first.handbook.keys() & other.handbook.keys()
    off = [np.array([of.handbook[name] for name in sorted(names)]) for of in (first, other)]
    shared = in_common * np.sum(off[0] * off[1], axis=0)
    return (
        _less(other.wh_per_km, first.wh_per_km, float(shared[0])),
        _less(other.log_range, first.log_range, float(shared[1])),
    )


def _less(one: Measure, other: Measure, covariance: float = 0.0) -> Measure:
    """Difference of two numbers; independent ones have no covariance."""
    variance = one.sd**2 + other.sd**2 - 2.0 * covariance
    return Measure(one.mean - other.mean, float(np.sqrt(max(0.0, variance))))


def _vehicles(
    results: Sequence[RideResult], config: Config, library: Library | None
) -> list[OnReference]:
    """The vehicle of each ride; one object for all rides of one."""
    names = [result.recording.sheet.vehicle.name or f"\0{n}" for n, result in enumerate(results)]
    found: dict[str, OnReference] = {}
    for name in dict.fromkeys(names):
        own = [result for result, of in zip(results, names, strict=True) if of == name]
        vehicle = vehicle_in(own, library)
        found[name] = on_reference(known_in_common(vehicle, own, config), config)
    return [found[name] for name in names]
