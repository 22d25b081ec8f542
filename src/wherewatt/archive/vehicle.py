"""A vehicle as all its rides in an archive know it, and its rides for a library."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path

import numpy as np

from wherewatt.allocate.ledger import Z90
from wherewatt.allocate.parameters import natural, slope_of, value_of
from wherewatt.allocate.settings import Prior, PriorKind
from wherewatt.archive.pool import Pooled, Said, rides_of
from wherewatt.ingest.sheet import VehicleSheet
from wherewatt.library import Facts, Learned, Library, RideMark
from wherewatt.physics.battery import Chemistry


@dataclass(frozen=True, slots=True)
class VehicleParameter:
    """A parameter of a vehicle, in its own unit.

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


def vehicle_parameters(pooled: Pooled) -> tuple[VehicleParameter, ...]:
    """A vehicle's parameters from all its rides, with what was known before them counted once.

    That is what the last ride that knew a parameter was told of it, by its ride sheet or the
    handbook. A product of normal factors: Tarantola 2005, Inverse Problem Theory, section 1.5.
    """
    factor = pooled.factor
    priors = [_prior(pooled.latest[name], name) for name in factor.names]
    spread = np.array([prior.spread for prior in priors])
    center = np.array([natural(prior, prior.center) for prior in priors])
    # In units of the priors' spreads: parameters differ in size by many powers of ten.
    information = factor.information * np.outer(spread, spread) + np.eye(len(priors))
    covariance = np.linalg.inv(information)
    pull = spread * (factor.vector - factor.information @ center)
    scores = covariance @ pull
    return tuple(
        _parameter(name, prior, float(score), float(np.sqrt(variance)))
        for name, prior, score, variance in zip(
            factor.names, priors, scores, np.diag(covariance), strict=True
        )
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
        library.keep(_learned(said))
        rides += 1
    return rides


def _prior(said: Said, name: str) -> Prior:
    row = said.row
    at = row["parameters"].index(name)
    return Prior(
        PriorKind(row["kinds"][at]),
        row["prior_centers"][at],
        row["prior_spreads"][at],
        row["units"][at],
        f"as before {row['name']}",
    )


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


def _learned(said: Said) -> Learned:
    row = said.row
    start = row["start_time"].astimezone(UTC).replace(microsecond=0).isoformat()
    sheet = json.loads(row["sheet"])
    if "battery_chemistry" in sheet:
        sheet["battery_chemistry"] = Chemistry(sheet["battery_chemistry"])
    mark = RideMark(row["vehicle"], row["name"], row["sha256"], start)
    facts = Facts(VehicleSheet(**sheet), row["temperature_c"], row["rider_mass_kg"])
    return Learned(mark, said.factor, facts)
