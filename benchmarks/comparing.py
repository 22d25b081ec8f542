"""How right comparisons on equal terms are, on simulated vehicles whose truth is known.

    python -m benchmarks.comparing [--vehicles N] [--rides K] [--seeds tuning|unseen]
        [--known sheet|recharge|metered] [--wind]

Every vehicle is ridden K times, on other days and courses, and reported from its files. Then each
is held against each other: which goes farther on the reference ride, by how much, how surely. The
truth is that ride driven by the simulator's own vehicle, its rider's mass and speed changed.

- "named right": share of pairs of which the better one was given the higher chance; beside it, by
  consumption as ridden, which is what people go by;
- "in 90 %": share of true differences of range inside their interval;
- "chance": of the pairs given a chance of about so much, the share in which it came about.

Settings were chosen on the tuning seeds, which start at 1; the unseen ones start at 2000.
"""

from __future__ import annotations

import argparse
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import combinations, pairwise, repeat
from pathlib import Path

import numpy as np
from scipy.special import ndtr
from tests.support.simulator import CHARACTERS, SimulatedRide, simulate
from tests.support.simulator.course import STEP_M, Course, Stop
from tests.support.simulator.drive import LONGEST_S, drive
from tests.support.simulator.noise import smooth_waves
from tests.support.simulator.surfaces import SURFACE_NAMES, SURFACES
from tests.support.simulator.truth import Truth
from tests.support.simulator.vehicle import Style
from tests.support.simulator.wind import WIND_STEP_S, Weather

from wherewatt.allocate.ledger import Z90
from wherewatt.config import Config, load_config
from wherewatt.errors import InputError
from wherewatt.outlook.compare import compare
from wherewatt.outlook.equal_terms import OnReference
from wherewatt.outlook.plans import reference_course
from wherewatt.outlook.switching import Cause
from wherewatt.pipeline import analyse
from wherewatt.terrain.tiles import TileFolder

FIRST_UNSEEN = 2000
# The middle of what the simulator's riders do: nobody holds a speed or sits perfectly still, and no
# road is as smooth as a sine. What the model calls unsteadiness is this.
ORDINARY_WANDER, ORDINARY_POSTURE = 0.06, 0.04
CHANCE_EDGES = (0.5, 0.6, 0.75, 0.9, 0.97, 1.0001)


@dataclass(frozen=True)
class Found:
    """A vehicle: logarithm of its range on the reference ride, true and found, and as ridden."""

    true_log: float
    log: float
    sd: float
    true_wh_per_km: float
    wh_per_km: float
    consumption_sd: float
    ridden_log: float
    handbook: dict[str, float]


def find(garage: int, rides: int, known: str) -> Found | None:
    """Ride a vehicle, report it, put it on equal terms; None if a ride cannot be used."""
    config = load_config()
    characters = tuple(CHARACTERS)
    sims = [
        simulate(
            characters[(garage + number) % len(characters)], 10 * garage + number, garage=garage
        )
        for number in range(rides)
    ]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sims[0].write_tile(folder, 3)
        tiles = TileFolder((folder,))
        try:
            results = [analyse(written(sim, garage, folder, known), tiles, config) for sim in sims]
        except InputError:
            return None
        comparison = compare(results, config)
    vehicle: OnReference = comparison.rides[0].vehicle
    ridden = float(np.mean([np.log(result.ledger.full_charge_km.mean) for result in results]))
    truth = sims[0].truth
    true_wh_per_km = true_consumption(truth, config)
    return Found(
        true_log=float(np.log(truth.battery.usable_wh / true_wh_per_km)),
        log=vehicle.log_range.mean,
        sd=vehicle.log_range.sd,
        true_wh_per_km=true_wh_per_km,
        wh_per_km=vehicle.wh_per_km.mean,
        consumption_sd=vehicle.wh_per_km.sd,
        ridden_log=ridden,
        handbook={name: off for name, (_, off) in vehicle.handbook.items()},
    )


def written(sim: SimulatedRide, garage: int, folder: Path, known: str) -> Path:
    """The ride as files; vehicles of two owners never have one name."""
    sheet = replace(sim.sheet, vehicle_name=f"{sim.sheet.vehicle_name} {garage}")
    return replace(sim, sheet=sheet).write(
        folder, recharge=known == "recharge", metered=known == "metered"
    )


def true_consumption(truth: Truth, config: Config) -> float:
    """What the simulator's vehicle takes on the reference ride [Wh/km]."""
    reference, pace = config.reference, config.pace
    course = sim_course(config)
    vehicle = replace(
        truth.vehicle, rider_mass_kg=reference.rider_mass_kg, cruise_m_s=pace.top_speed_m_s
    )
    style = Style(
        pace.acceleration_m_s2,
        pace.deceleration_m_s2,
        pace.sideways_m_s2,
        ORDINARY_WANDER,
        pace.coast_share,
        ORDINARY_POSTURE,
    )
    calm = np.zeros(round(LONGEST_S / WIND_STEP_S))
    weather = Weather(
        reference.temperature_c, 1013.25, 100.0 * config.assumed.humidity, 0.0, 0.0, calm, calm
    )
    log = drive(course, vehicle, style, weather, np.random.default_rng(1))
    joules = float(log.steps["battery_w"] @ np.diff(log.time_s))
    return joules / 3600.0 / (float(log.course_m[-1]) / 1000.0)


def sim_course(config: Config) -> Course:
    """The reference ride as a course of the simulator."""
    ours = reference_course(config.reference, config.outlook)
    ours = ours.with_stops(config.pace.stops_per_km)
    at = np.arange(0.0, ours.length_m + STEP_M / 2.0, STEP_M)
    rough_m = SURFACES[config.reference.surface].undulation_m
    waves = smooth_waves(np.random.default_rng(2), at, 25.0, 150.0)
    heading = 2.0 * np.pi * at / ours.length_m
    n = len(at)
    stops = [Stop(float(place), config.pace.stop_s, "light") for place in ours.stops_m]
    return Course(
        course_m=at,
        lat_deg=np.zeros(n),
        lon_deg=np.zeros(n),
        x_m=np.zeros(n),
        y_m=np.zeros(n),
        height_m=ours.height_at(at) + rough_m * waves,
        east=np.sin(heading),
        north=np.cos(heading),
        curvature_per_m=np.full(n, 2.0 * np.pi / ours.length_m),
        surface=np.full(n, SURFACE_NAMES.index(config.reference.surface)),
        shelter=np.full(n, config.assumed.wind_height_ratio),
        bridges=(),
        stops=(
            Stop(0.0, 0.0, "start"),
            *stops,
            Stop(float(at[-1]), 0.0, "end"),
        ),
    )


def wind_of(garage: int, known: str) -> tuple[float, float, float] | None:
    """What the wind added to a ride [Wh/km]: true, found, and its standard deviation.

    The truth is the same ride simulated again on a calm day: the same draws, but of no wind.
    """
    config, character = load_config(), tuple(CHARACTERS)[garage % len(CHARACTERS)]
    sim = simulate(character, garage, garage=garage)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sim.write_tile(folder, 3)
        try:
            result = analyse(written(sim, garage, folder, known), TileFolder((folder,)), config)
        except InputError:
            return None
    windy = CHARACTERS[character]
    CHARACTERS[character] = replace(windy, wind_m_s=(0.0, 0.0))
    calm = simulate(character, garage, garage=garage)
    CHARACTERS[character] = windy
    true = (sim.truth.total_wh - calm.truth.total_wh) / (sim.truth.course_m[-1] / 1000.0)
    found = compare([result, result], config).rides[0].apart[Cause.WIND]
    return float(true), found.mean, found.sd


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--vehicles", type=int, default=30)
    parser.add_argument("--rides", type=int, default=1, help="rides of each vehicle")
    parser.add_argument("--seeds", choices=("tuning", "unseen"), default="unseen")
    parser.add_argument("--known", choices=("sheet", "recharge", "metered"), default="sheet")
    parser.add_argument("--wind", action="store_true", help="check one cause instead: the wind")
    options = parser.parse_args()
    first = 1 if options.seeds == "tuning" else FIRST_UNSEEN
    garages = range(first, first + options.vehicles)
    if options.wind:
        with ProcessPoolExecutor(max_workers=2) as pool:
            print_wind(list(pool.map(wind_of, garages, repeat(options.known))))
        return
    with ProcessPoolExecutor(max_workers=2) as pool:
        tried = list(pool.map(find, garages, repeat(options.rides), repeat(options.known)))
    found = [one for one in tried if one is not None]
    if len(found) < len(tried):
        print(f"{len(tried) - len(found)} vehicle(s) with a ride that could not be used")
    print_vehicles(found, options.rides)
    print_pairs(found)


def print_wind(tried: list[tuple[float, float, float] | None]) -> None:
    """What the wind truly added, against what was said."""
    true, found, sd = np.array([one for one in tried if one is not None]).T
    inside = 100.0 * np.mean(np.abs(found - true) < Z90 * sd)
    print(
        f"{len(true)} rides; the wind added {np.mean(np.abs(true)):.2f} Wh/km; mean error "
        f"{np.mean(np.abs(found - true)):.2f}, stated {np.mean(sd):.2f}; in 90 % {inside:.1f} %; "
        f"correlation {np.corrcoef(true, found)[0, 1]:.2f}"
    )


def print_vehicles(found: list[Found], rides: int) -> None:
    """Errors and intervals of the vehicles one by one."""
    off = np.array([one.log - one.true_log for one in found])
    sd = np.array([one.sd for one in found])
    more = np.array([np.log(one.wh_per_km / one.true_wh_per_km) for one in found])
    more_sd = np.array([one.consumption_sd / one.wh_per_km for one in found])
    print(f"{len(found)} vehicles, {rides} ride(s) each, on the reference ride")
    for name, error, spread in (("range", off, sd), ("consumption", more, more_sd)):
        inside = 100.0 * np.mean(np.abs(error) < Z90 * spread)
        z = np.sqrt(np.mean(np.square(error / spread)))
        print(
            f"{name:12} mean error {100 * np.mean(np.abs(error)):5.1f} %  bias "
            f"{100 * np.mean(error):5.1f} %  sd stated {100 * np.mean(spread):5.1f} %  "
            f"in 90 % {inside:5.1f}  z {z:.2f}"
        )


def print_pairs(found: list[Found]) -> None:
    """Each vehicle against each other."""
    in_common = load_config().outlook.handbook_in_common
    rows = []
    for a, b in combinations(found, 2):
        true, ours = b.true_log - a.true_log, b.log - a.log
        shared = sum(off * b.handbook.get(name, 0.0) for name, off in a.handbook.items())
        sd = float(np.sqrt(a.sd**2 + b.sd**2 - 2.0 * in_common * shared))
        rows.append((true, ours, sd, b.ridden_log - a.ridden_log))
    true, ours, sd, ridden = np.array(rows).T
    print(
        f"{len(rows)} pairs; true ranges differ by {100 * np.mean(np.abs(true)):.0f} % on average"
    )
    right = 100.0 * np.mean(np.sign(ours) == np.sign(true))
    by_ridden = 100.0 * np.mean(np.sign(ridden) == np.sign(true))
    print(f"named right {right:.1f} %; by range as ridden {by_ridden:.1f} %")
    print(f"mean error of the difference {100 * np.mean(np.abs(ours - true)):.1f} %", end="; ")
    print(f"as ridden {100 * np.mean(np.abs(ridden - true)):.1f} %", end="; ")
    print(f"in 90 % {100 * np.mean(np.abs(ours - true) < Z90 * sd):.1f} %")
    chance = ndtr(np.abs(ours) / sd)
    came = np.sign(ours) == np.sign(true)
    for low, high in pairwise(CHANCE_EDGES):
        own = (chance >= low) & (chance < high)
        if own.any():
            print(
                f"chance {low:.2f} to {min(high, 1.0):.2f}: stated {chance[own].mean():.2f}, "
                f"came about {came[own].mean():.2f}, of {own.sum()}"
            )


if __name__ == "__main__":
    main()
