"""What rides say of a vehicle as it is on an ordinary day in the weather of the reference ride.

Unlike a prediction, which is for one day and so has that day's tyre pressure and posture still to
be drawn, this is of what all days of the vehicle have in common.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from wherewatt.allocate.parameters import (
    Parameter,
    Parameters,
    ratio_name,
    ride_parameters,
)
from wherewatt.allocate.pool import posterior
from wherewatt.config import Config
from wherewatt.ingest.sheet import RiderSheet, RideSheet, WeatherSheet
from wherewatt.library import Library, said_together
from wherewatt.outlook.vehicle import Day, Known, Vehicle, vehicle_of
from wherewatt.report.result import RideResult


def vehicle_in(results: Sequence[RideResult], library: Library | None) -> Vehicle:
    """The one vehicle of some rides, with what these and the library's rides said of it.

    What was stated of it is what the latest of the rides states.
    """
    latest = vehicle_of(max(results, key=lambda result: result.ride.start_unix_s))
    remembered = library.rides(latest.name) if library and latest.sheet.name else ()
    ours = [vehicle_of(result).rides[0] for result in results]
    rides = {ride.mark.sha256: ride for ride in (*remembered, *ours)}
    return Vehicle(
        latest.name, latest.sheet, latest.kind, tuple(rides[key] for key in sorted(rides))
    )


def known_in_common(vehicle: Vehicle, results: Sequence[RideResult], config: Config) -> Known:
    """A vehicle on an ordinary day at the temperature of the reference ride, with its rider.

    Parameters
    ----------
    results : rides of it whose own priors are known, such as that of a stated charger.
    """
    reference = config.reference
    day = Day(reference.rider_mass_kg, WeatherSheet(temperature_c=reference.temperature_c))
    parameters = _all_that_is_spoken_of(vehicle, day, results, config)
    today = RideSheet(vehicle.sheet, weather=day.weather)
    said = said_together(vehicle.rides, today, priors=config.priors, assumed=config.assumed)
    factor = said.among(list(parameters.index))
    return Known(vehicle, day, parameters, *posterior(parameters, factor))


def _priors(vehicle: Vehicle, day: Day, surfaces: Collection[str], config: Config) -> Parameters:
    """What is known of a vehicle on a day before any of its rides; nobody pedals."""
    return ride_parameters(
        RideSheet(vehicle.sheet, RiderSheet(day.rider_mass_kg), day.weather, kind=vehicle.kind),
        sorted({config.reference.surface, *surfaces}),
        priors=config.priors,
        surface_priors=config.surfaces,
        assumed=config.assumed,
        settings=config.estimate,
        pedalling_unknown=False,
    )


def _all_that_is_spoken_of(
    vehicle: Vehicle, day: Day, results: Sequence[RideResult], config: Config
) -> Parameters:
    """Priors of a day, and of everything else that the vehicle's rides speak of.

    Without its prior, a parameter that is integrated out would take along what a ride says of
    those it goes together with, such as the charger's efficiency with the energy.
    """
    names = {name for ride in vehicle.rides for name in ride.factor.names}
    surfaces = {surface for surface in config.surfaces if ratio_name(surface) in names}
    priors = _priors(vehicle, day, surfaces, config)
    others = {name: Parameter(name, prior) for name, prior in config.priors.items()}
    for result in results:
        others |= {item.name: item for item in result.estimate.evidence.parameters.items}
    missing = sorted((names - priors.index.keys()) & others.keys())
    return Parameters((*priors.items, *(others[name] for name in missing)))
