"""Rides put on equal terms: each vehicle on the reference ride, and what set the real ride apart.

A ride's consumption is that of its vehicle on the reference ride, and what the real ride had more
than that of wind, rough surface, height and so on, by cause. All of it adds up exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.estimate import Estimate
from wherewatt.allocate.ledger import Measure
from wherewatt.allocate.parameters import Parameters, ratio_name
from wherewatt.allocate.temperature import rolling_at
from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.ingest.sheet import RideSheet
from wherewatt.outlook.contributions import (
    Contributions,
    Unknowns,
    as_driven,
    as_ridden,
    contributions,
)
from wherewatt.outlook.drive import Drive
from wherewatt.outlook.reference import (
    neutral_ride,
    reference_drive,
    reference_values,
)
from wherewatt.outlook.switching import OF_THE_DRIVE, Cause
from wherewatt.outlook.vehicle import Known
from wherewatt.report.result import RideResult

# What the reference ride has more than the neutral one; it has one surface and one rider.
_OF_THE_REFERENCE = (Cause.WIND, Cause.HEIGHT, Cause.STOPS, Cause.SPEED, Cause.WEATHER)
_DAY_FACTOR = "day_factor"  # what a whole day takes more; an ordinary day nothing


@dataclass(frozen=True, slots=True, eq=False)
class OnReference:
    """A vehicle on the reference ride, on an ordinary day.

    Parameters
    ----------
    known : its parameters there; they tell the rides they rest on, too.
    drive : the reference ride as it rides it.
    mass_kg : with the rider of the reference ride [kg].
    wh_per_km : consumption there [Wh/km].
    full_charge_km : distance that a full charge goes there [km].
    log_range : logarithm of that distance over 1 km, taken as normal.
    handbook : by parameter, how far consumption [Wh/km] and `log_range` would be off if the
        handbook were off by one standard deviation; nothing where the user stated the value.
    """

    known: Known
    drive: Drive
    mass_kg: float
    wh_per_km: Measure
    full_charge_km: Measure
    log_range: Measure
    handbook: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, eq=False)
class OnEqualTerms:
    """A ride, its vehicle on the reference ride, and what set the two apart.

    Parameters
    ----------
    result : the ride.
    vehicle : on the reference ride; the same object for rides of one vehicle.
    wh_per_km : as ridden [Wh/km].
    apart : by cause, how much more the ride took than the vehicle on the reference ride [Wh/km];
        these and the reference ride's consumption add up to that of the ride.
    pedalled : True if the rider pedalled on the ride, as nobody does on the reference ride.
    """

    result: RideResult
    vehicle: OnReference
    wh_per_km: Measure
    apart: Mapping[Cause, Measure]
    pedalled: bool


def on_reference(known: Known, config: Config) -> OnReference:
    """A vehicle on the reference ride, by what its rides say together.

    Parameters
    ----------
    known : its parameters on an ordinary day in the weather of the reference ride.
    """
    mass_kg = known.parameters.items[known.parameters.index["mass_kg"]].prior.center
    values = reference_values(known.values, mass_kg, config) | {_DAY_FACTOR: 1.0}
    drive = reference_drive(values, config)
    at = _vehicle_unknowns(known, values, config)
    there = contributions(as_driven(drive.legs), at, neutral_ride(mass_kg, 1.0, config), ())
    mean, km = there.wh_per_km, values["battery_usable_wh"] / there.wh_per_km
    farther = -there.slopes / mean
    number = known.parameters.index["battery_usable_wh"]
    farther[number] += at.slopes["battery_usable_wh"] / values["battery_usable_wh"]
    spread = _sd(farther, at.covariance)
    off = at.covariance @ np.stack([there.slopes, farther], axis=1)
    handbook = {
        name: (float(off[place, 0]), float(off[place, 1]))
        for name, place in known.parameters.index.items()
        if getattr(known.vehicle.sheet, name, None) is None
    }
    return OnReference(
        known=known,
        drive=drive,
        mass_kg=mass_kg,
        wh_per_km=Measure(mean, _sd(there.slopes, at.covariance), ratio=True),
        full_charge_km=Measure(km, km * spread, ratio=True),
        log_range=Measure(float(np.log(km)), spread),
        handbook=handbook,
    )


def _vehicle_unknowns(known: Known, values: Mapping[str, float], config: Config) -> Unknowns:
    """A vehicle's parameters on the reference ride, of which rider and wind are known."""
    parameters = known.parameters
    slopes = parameters.slopes(known.scores)
    with_rider = parameters.items[parameters.index["mass_kg"]].prior.spread
    rider = config.priors["rider_mass_kg"].stated_spread or 0.0
    slopes["mass_kg"] = float(np.sqrt(max(0.0, with_rider**2 - rider**2)))
    slopes |= {"wind_east_m_s": 0.0, "wind_north_m_s": 0.0, _DAY_FACTOR: 0.0}
    return Unknowns(values, slopes, parameters.index, known.covariance)


def on_equal_terms(result: RideResult, vehicle: OnReference, config: Config) -> OnEqualTerms:
    """What set a ride apart from its vehicle's reference ride, cause by cause.

    Both are taken apart down to the neutral ride with the parameters that this ride had; what it
    has more of a cause than the reference ride is that cause's. How the reference ride with these
    parameters differs from that of an ordinary day is the day's.
    """
    estimate = result.estimate
    before = estimate.evidence.parameters
    warmed = _rolling_factor(result.recording.sheet, config)
    that_day = _ride_unknowns(estimate, vehicle.known.parameters, config)
    ride = contributions(
        as_ridden(estimate), that_day, neutral_ride(vehicle.mass_kg, warmed, config)
    )
    reference = contributions(
        as_driven(vehicle.drive.legs),
        _at_reference(that_day, warmed, vehicle.mass_kg, config),
        neutral_ride(vehicle.mass_kg, 1.0, config),
        _OF_THE_REFERENCE,
    )
    apart = _apart(ride, reference, that_day.covariance)
    apart[Cause.DAY] = Measure(
        reference.wh_per_km - vehicle.wh_per_km.mean, _day_sd(reference, before)
    )
    # The law of temperature is itself in doubt: what is not the weather's is the day's.
    doubt = abs(np.log(warmed)) * config.assumed.change_doubt * _per_log_rolling(reference, before)
    for cause in (Cause.WEATHER, Cause.DAY):
        apart[cause] = Measure(apart[cause].mean, float(np.hypot(apart[cause].sd, doubt)))
    return OnEqualTerms(
        result=result,
        vehicle=vehicle,
        wh_per_km=Measure(ride.wh_per_km, _sd(ride.slopes, that_day.covariance)),
        apart=apart,
        pedalled="pedal_power_w" in before.index or bool(np.any(estimate.evidence.legs.rider_j)),
    )


def _rolling_factor(sheet: RideSheet, config: Config) -> float:
    """Rolling resistance at the temperature of the reference ride over that of a ride [1].

    What the user states is taken as it is at any temperature, as in the estimate.
    """
    if sheet.vehicle.rolling_resistance is not None:
        return 1.0
    prior = config.priors["rolling_resistance"]
    there, here = (
        rolling_at(prior, celsius, config.assumed).center
        for celsius in (config.reference.temperature_c, sheet.weather.temperature_c)
    )
    return there / here


def _per_log_rolling(reference: Contributions, parameters: Parameters) -> float:
    """Derivative of the consumption by the logarithm of the rolling resistance [Wh/km]."""
    number = parameters.index["rolling_resistance"]
    return float(reference.slopes[number]) / parameters.items[number].prior.spread


def _ride_unknowns(estimate: Estimate, reference: Parameters, config: Config) -> Unknowns:
    """The unknowns of a ride, and the surface of the reference ride where it did not go over it."""
    parameters, covariance = estimate.evidence.parameters, estimate.solution.covariance
    values, slopes = dict(estimate.values), parameters.slopes(estimate.solution.scores)
    column = dict(parameters.index)
    name = ratio_name(config.reference.surface)
    if name not in values:
        prior = reference.items[reference.index[name]].prior
        values[name], slopes[name] = prior.center, prior.spread * prior.center
        column[name] = len(covariance)
        widened = np.eye(len(covariance) + 1)
        widened[:-1, :-1] = covariance
        covariance = widened
    return Unknowns(values, slopes, column, covariance)


def _at_reference(
    that_day: Unknowns, rolling_factor: float, mass_kg: float, config: Config
) -> Unknowns:
    """The same vehicle with the rider, the wind and the temperature of the reference ride."""
    name = "rolling_resistance"
    warmed = {name: that_day.values[name] * rolling_factor}
    values = reference_values({**that_day.values, **warmed}, mass_kg, config)
    known = {"mass_kg": 0.0, "wind_east_m_s": 0.0, "wind_north_m_s": 0.0}
    slopes = {**that_day.slopes, **known, name: that_day.slopes[name] * rolling_factor}
    return Unknowns(values, slopes, that_day.column, that_day.covariance)


def _apart(
    ride: Contributions, reference: Contributions, covariance: FloatArray
) -> dict[Cause, Measure]:
    """What the ride had more of each cause than the reference ride; correlations kept."""
    apart = {}
    for cause in (*OF_THE_DRIVE, Cause.UNEXPLAINED):
        slope = ride.cause_slopes[cause] - reference.cause_slopes.get(cause, 0.0)
        mean = ride.by_cause[cause] - reference.by_cause.get(cause, 0.0)
        apart[cause] = Measure(mean, _sd(slope, covariance))
    return apart


def _day_sd(reference: Contributions, parameters: Parameters) -> float:
    """How far days of one vehicle lie apart on the reference ride [Wh/km]."""
    parts = []
    for slope, item in zip(reference.slopes, parameters.items, strict=False):
        prior = item.prior
        step = prior.spread if item.name == _DAY_FACTOR else prior.day_spread or 0.0
        parts.append(slope * step / prior.spread)
    return float(np.linalg.norm(parts))


def _sd(slope: FloatArray, covariance: FloatArray) -> float:
    return float(np.sqrt(max(0.0, float(slope @ covariance @ slope))))
