"""A vehicle as all its rides in an archive know it, and its rides for a library."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wherewatt.allocate.ledger import Z90
from wherewatt.allocate.parameters import slope_of, value_of
from wherewatt.allocate.settings import Prior
from wherewatt.archive.pool import Pooled, rides_of
from wherewatt.config import Config
from wherewatt.ingest.sheet import VehicleSheet
from wherewatt.library import Facts, Learned, Library, RideMark
from wherewatt.outlook.knowledge import known_in_common
from wherewatt.outlook.vehicle import Vehicle


@dataclass(frozen=True, slots=True)
class VehicleParameter:
    """A parameter of a vehicle, in its own unit, on a day of the reference temperature.

    Parameters
    ----------
    name, unit : what it is.
    before : most probable value before any ride.
    mean, sd : most probable value after all of them, and its standard deviation.
    low90, high90 : its 90 % interval, taken on the scale on which the prior is normal.
    """

    name: str
    unit: str
    before: float
    mean: float
    sd: float
    low90: float
    high90: float


def vehicle_parameters(pooled: Pooled, config: Config) -> tuple[VehicleParameter, ...]:
    """A vehicle's parameters from all its rides, with what was known before them counted once."""
    known = known_in_common(_as_one_ride(pooled, config), (), config)
    spread = np.sqrt(np.diag(known.covariance))
    return tuple(
        _parameter(item.name, item.prior, float(score), float(sd))
        for item, score, sd in zip(known.parameters.items, known.scores, spread, strict=True)
        if item.name in pooled.factor.names
    )


def export_rides(url: str, vehicle: str, folder: Path) -> int:
    """Put what each ride said of a vehicle into a library, for reports and predictions.

    Parameters
    ----------
    url : the archive.
    vehicle : as the ride sheets name it.
    folder : the library's; made if missing.

    Returns
    -------
    int
        How many rides.

    Raises
    ------
    InputError
        If there is no ride of the vehicle.
    OutputError
        If a file cannot be written.
    """
    library, rides = Library(folder), 0
    for said in rides_of(url, vehicle):
        library.keep(said.learned)
        rides += 1
    return rides


def _as_one_ride(pooled: Pooled, config: Config) -> Vehicle:
    """The vehicle as if one ride, on a day of the reference temperature, had said it all."""
    mark = RideMark(pooled.vehicle, "", "", "")
    facts = Facts(VehicleSheet(), config.reference.temperature_c)
    kind = config.vehicles.get("-".join(pooled.vehicle.casefold().split()))
    return Vehicle(pooled.vehicle, pooled.sheet, kind, (Learned(mark, pooled.factor, facts),))


def _parameter(name: str, prior: Prior, score: float, sd: float) -> VehicleParameter:
    low, high = sorted(value_of(prior, score + way * Z90 * sd) for way in (-1.0, 1.0))
    return VehicleParameter(
        name,
        prior.unit,
        prior.center,
        value_of(prior, score),
        abs(slope_of(prior, score)) * sd,
        low,
        high,
    )
