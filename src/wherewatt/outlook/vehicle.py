"""What is known of a vehicle for a day that is asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace

import numpy as np

from wherewatt.allocate.parameters import (
    Parameter,
    Parameters,
    handbook_of_vehicles,
    ratio_name,
    ride_parameters,
)
from wherewatt.allocate.pool import factor_of, known_for, posterior
from wherewatt.arrays import FloatArray
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem, nearest_name
from wherewatt.ingest.sheet import RiderSheet, RideSheet, VehicleSheet, WeatherSheet
from wherewatt.library import Facts, Learned, Library, RideMark, said_together
from wherewatt.report.result import RideResult


@dataclass(frozen=True, slots=True, eq=False)
class Vehicle:
    """A vehicle, and what its rides said of it.

    Parameters
    ----------
    name : the owner's name for it, or that of a handbook vehicle.
    sheet : what was stated of it, by the latest ride that states it.
    kind : the handbook vehicle of that name; None if there is none.
    rides : what each ride said; none for a handbook vehicle.
    """

    name: str
    sheet: VehicleSheet
    kind: VehicleSheet | None
    rides: tuple[Learned, ...]

    @property
    def rider_mass_kg(self) -> float | None:
        """Its rider on the latest ride that says so [kg]; None if none does."""
        latest = sorted(self.rides, key=lambda ride: ride.mark.start_time, reverse=True)
        masses = (ride.facts.rider_mass_kg for ride in latest if ride.facts)
        return next((mass for mass in masses if mass is not None), None)

    @property
    def without_sheets(self) -> bool:
        """True if rides are known, but all of them were kept without what their sheets state."""
        return bool(self.rides) and all(ride.facts is None for ride in self.rides)


@dataclass(frozen=True, slots=True)
class Day:
    """Rider and weather of a day that is asked about; what is None is not known.

    Parameters
    ----------
    rider_mass_kg : rider with kit [kg].
    weather : as in a ride sheet.
    """

    rider_mass_kg: float | None = None
    weather: WeatherSheet = field(default_factory=WeatherSheet)


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """The parameters of a day as one normal distribution of scores.

    Parameters
    ----------
    vehicle, day : whose and of which day.
    parameters : in their order, each unit normal before any ride said something.
    scores, covariance : (p,) most probable scores and their (p, p) covariance.
    """

    vehicle: Vehicle
    day: Day
    parameters: Parameters
    scores: FloatArray
    covariance: FloatArray

    @property
    def values(self) -> dict[str, float]:
        """Most probable values in their own units."""
        return self.parameters.values(self.scores)

    def narrowed(self, share: float) -> Known:
        """The same with all standard deviations times a share, where rides were learned from."""
        if not self.vehicle.rides:
            return self
        return replace(self, covariance=share**2 * self.covariance)

    def drawn(self, normal: FloatArray) -> FloatArray:
        """(d, p) scores from (d, p) independent unit normal numbers."""
        return np.asarray(self.scores + normal @ symmetric_root(self.covariance))


def symmetric_root(covariance: FloatArray) -> FloatArray:
    """The root of a covariance that turns independent unit normal numbers into its own.

    Other roots serve as well, but this one moves little when the covariance does, and so do the
    numbers that are drawn (Golub and Van Loan 2013, Matrix Computations, section 4.2.4).
    """
    level, way = np.linalg.eigh(covariance)
    return np.asarray((way * np.sqrt(np.maximum(level, 0.0))) @ way.T)


def find_vehicle(name: str, library: Library | None, config: Config) -> Vehicle:
    """A vehicle of the library, or else of the handbook.

    Raises
    ------
    InputError
        If neither knows it.
    SideFileError
        If a file of the library cannot be read.
    """
    rides = library.rides(name) if library else ()
    kind = config.vehicles.get("-".join(name.casefold().split()))
    if not rides and kind is None:
        raise InputError(_unknown(name, library, config))
    return Vehicle(name, _stated(rides), kind, rides)


def vehicle_of(result: RideResult) -> Vehicle:
    """The vehicle of a reported ride, with what that ride alone said of it."""
    recording = result.recording
    sheet = recording.sheet
    mark = RideMark(
        vehicle=sheet.vehicle.name or result.name,
        ride=result.name,
        sha256=recording.track.sha256,
        start_time="",
    )
    facts = Facts(sheet.vehicle, sheet.weather.temperature_c, sheet.rider.mass_kg)
    alone = result.learned.factor if result.learned else factor_of(result.estimate)
    return Vehicle(mark.vehicle, sheet.vehicle, sheet.kind, (Learned(mark, alone, facts),))


def known_on(vehicle: Vehicle, day: Day, surfaces: Sequence[str], config: Config) -> Known:
    """The vehicle's parameters on a day: the handbook and the sheet, then what its rides said.

    Parameters
    ----------
    surfaces : all that may occur.
    """
    parameters = _parameters(vehicle, day, surfaces, config)
    if not vehicle.rides:
        return Known(vehicle, day, parameters, np.zeros(len(parameters)), np.eye(len(parameters)))
    today = RideSheet(vehicle.sheet, weather=day.weather)
    said = said_together(vehicle.rides, today, priors=config.priors, assumed=config.assumed)
    handbook = handbook_of_vehicles(config.priors, config.surfaces, config.estimate)
    factor = known_for(said, parameters, handbook)
    return Known(vehicle, day, parameters, *posterior(parameters, factor))


def _parameters(vehicle: Vehicle, day: Day, surfaces: Sequence[str], config: Config) -> Parameters:
    """The unknowns of a day, and whatever else the rides speak of.

    Two things that a ride only knows together, such as capacity and charger, stay together.
    """
    spoken = {name for ride in vehicle.rides for name in ride.factor.names}
    ridden = {surface for surface in config.surfaces if ratio_name(surface) in spoken}
    parameters = ride_parameters(
        RideSheet(vehicle.sheet, RiderSheet(day.rider_mass_kg), day.weather, kind=vehicle.kind),
        sorted({*surfaces, *ridden}),
        priors=config.priors,
        surface_priors=config.surfaces,
        assumed=config.assumed,
        settings=config.estimate,
        pedalling_unknown=bool(vehicle.sheet.pedal_assist),
    )
    others = sorted(spoken - set(parameters.index))
    added = (Parameter(name, config.priors[name]) for name in others if name in config.priors)
    return Parameters((*parameters.items, *added))


def _stated(rides: Sequence[Learned]) -> VehicleSheet:
    """What the sheets state, each thing as the latest ride that states it."""
    stated: dict[str, object] = {}
    for ride in sorted(rides, key=lambda ride: ride.mark.start_time):
        if ride.facts is not None:
            given = {
                key.name: getattr(ride.facts.vehicle, key.name) for key in fields(VehicleSheet)
            }
            stated |= {name: value for name, value in given.items() if value is not None}
    return VehicleSheet(**stated)  # type: ignore[arg-type]


def _unknown(name: str, library: Library | None, config: Config) -> Problem:
    owned = library.vehicles() if library else ()
    known = nearest_name(name, [*owned, *config.vehicles])
    where = (
        f"a vehicle of {library.folder} or of the handbook"
        if library
        else ("a vehicle of the handbook, or --library with rides of it")
    )
    return Problem("--vehicle", "", f"'{name}'", where, known)
