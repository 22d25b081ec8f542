"""How right predictions are, on simulated rides of vehicles whose other rides are known.

    python -m benchmarks.outlook [--vehicles N] [--learn N] [--seeds tuning|unseen|both]
                                 [--known sheet|recharge|metered] [--course true|planned]
                                 [--asked other|same]

An owner reports some rides into a library. Then another ride of that vehicle, of another
character, is predicted from what is known before it: its course with surfaces and stops, the
forecast, the rider, the top speed and the motor's limits. The truth of the simulated ride is
compared with the prediction: consumption, and distance on a full charge (true usable capacity over
true consumption). "In 90 %" is the share of intervals that hold the truth, "z" the root mean
square of the error over its standard deviation. The tuning seeds start at 1, the unseen ones
at 2000.
"""

from __future__ import annotations

import argparse
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from tests.support.simulator import CHARACTERS, SimulatedRide, simulate

from wherewatt.config import Config, load_config
from wherewatt.errors import InputError
from wherewatt.ingest.plan import Route
from wherewatt.ingest.sheet import WeatherSheet
from wherewatt.library import Library
from wherewatt.outlook.course import Course
from wherewatt.outlook.demand import demand_of
from wherewatt.outlook.draws import Spread, draw, reach_m, used_by
from wherewatt.outlook.plans import course_along
from wherewatt.outlook.scenario import Scenario
from wherewatt.outlook.settings import Pace
from wherewatt.outlook.vehicle import Day, find_vehicle, known_on
from wherewatt.pipeline import analyse
from wherewatt.terrain.tiles import TileFolder

FIRST_UNSEEN = 2000
KNOWN = ("sheet", "recharge", "metered")
COURSES = ("true", "planned")
ASKED = ("other", "same")
_CELL_M = 20.0


@dataclass(frozen=True)
class Score:
    """One prediction: its error and whether its interval held, of consumption and of range."""

    character: str
    consumption_error: float
    consumption_in: bool
    consumption_z: float
    range_error: float
    range_in: bool
    range_z: float
    time_error: float


def score_vehicle(
    garage: int, learn: int, known: str, course_by: str, asked_by: str = "other"
) -> Score | None:
    """Learn some rides of one vehicle and predict the next; None if one of them is no use."""
    config = load_config()
    names = list(CHARACTERS)
    last, *order = np.random.default_rng([garage, 5]).permutation(len(names)).tolist()
    # The same ride is asked about, however many are known.
    kinds = [*order[:learn], last if asked_by == "other" else order[0]]
    seeds = [len(names) * garage + kind for kind in order[:learn]]
    seeds.append(len(names) * garage + last + (0 if asked_by == "other" else 50_000))
    try:
        *before, asked = (
            simulate(names[kind], seed, garage=garage)
            for kind, seed in zip(kinds, seeds, strict=True)
        )
    except RuntimeError:  # the pack is empty before the end
        return None
    with tempfile.TemporaryDirectory() as folder:
        library = Library(Path(folder) / "library")
        try:
            for ride in before:
                _report(ride, Path(folder), library, known, config)
        except InputError:  # a damaged recording, as a user would have to mend it
            return None
        tile = asked.write_tile(Path(folder), 3).parent if course_by == "planned" else None
        return predict_ride(asked, before[0].sheet.vehicle_name, library, tile, config)


def _report(
    ride: SimulatedRide, folder: Path, library: Library, known: str, config: Config
) -> None:
    track = ride.write(folder, recharge=known == "recharge", metered=known == "metered")
    ride.write_tile(folder, 3)
    result = analyse(track, TileFolder((folder,)), config, library)
    if result.learned is None:
        raise AssertionError("the sheet names no vehicle")
    library.keep(result.learned)


def predict_ride(
    asked: SimulatedRide, vehicle: str, library: Library, tile: Path | None, config: Config
) -> Score:
    """Predict one ride and compare it with its truth."""
    sheet = asked.sheet
    weather = WeatherSheet(
        temperature_c=sheet.temperature_c,
        wind_speed_m_s=sheet.wind_speed_m_s,
        wind_from_deg=sheet.wind_from_deg,
    )
    course = true_course(asked) if tile is None else planned_course(asked, tile, config)
    scenario = Scenario(course, _pace(asked, config.pace))
    day = Day(sheet.rider_mass_kg, weather)
    known = known_on(find_vehicle(vehicle, library, config), day, course.surfaces, config)
    known = known.narrowed(config.outlook.spread_share)
    demand = demand_of(scenario, known, config)
    draws = draw(known, len(demand.stretches.spread), config.outlook)
    used = used_by(draws, demand, config.outlook)
    km = course.length_m / 1000.0
    truth = asked.truth
    true_per_km = truth.total_wh / (truth.distance_m[-1] / 1000.0)
    true_range = truth.battery.usable_wh / true_per_km
    reach = reach_m(used, draws.column("battery_usable_wh")) / 1000.0
    moving = truth.time_s[-1] - sum(to - start for start, to, _ in truth.stops)
    return Score(
        asked.character,
        *_compared(used.wh[:, -1] / km, true_per_km),
        *_compared(reach, true_range),
        time_error=float(demand.drive.legs.time_s[demand.drive.legs.moving].sum() / moving - 1.0),
    )


def _compared(draws: np.ndarray, truth: float) -> tuple[float, bool, float]:
    spread = Spread.of(draws)
    z = np.log(spread.median / truth) / np.std(np.log(draws))
    return spread.median / truth - 1.0, spread.low90 <= truth <= spread.high90, float(z)


def _pace(asked: SimulatedRide, pace: Pace) -> Pace:
    """What an owner can tell: top speed, the motor's label, how long it stands."""
    vehicle, stands = asked.truth.vehicle, asked.truth.stops[1:-1]
    waits = [to - start for start, to, _ in stands]
    return replace(
        pace,
        top_speed_m_s=round(3.6 * vehicle.cruise_m_s) / 3.6,
        wheel_power_w=round(vehicle.max_power_w, -1),
        wheel_force_n=round(vehicle.max_force_n, -1),
        stop_s=float(np.mean(waits)) if waits else 0.0,
    )


def true_course(asked: SimulatedRide) -> Course:
    """The road as it truly is."""
    truth = asked.truth
    length = float(truth.distance_m[-1])
    edge = np.linspace(0.0, length, round(length / _CELL_M) + 1)
    at, first = np.unique(truth.distance_m, return_index=True)
    latitude, longitude, height = (
        np.interp(edge, at, values[first])
        for values in (truth.lat_deg, truth.lon_deg, truth.height_m)
    )
    east = np.diff(longitude) * np.cos(np.radians(latitude[:-1]))
    step = np.searchsorted(truth.distance_m, (edge[1:] + edge[:-1]) / 2.0) - 1
    index, surfaces = _surfaces(asked, step)
    return Course(
        name=asked.character,
        edge_m=edge,
        height_m=height,
        heading_rad=np.arctan2(east, np.diff(latitude)),
        surface=index,
        surfaces=surfaces,
        stops_m=_stops(asked, length),
        loop=True,
    )


def planned_course(asked: SimulatedRide, tile: Path, config: Config) -> Course:
    """The same road as a route without heights, and those of a terrain tile."""
    truth = asked.truth
    _, first = np.unique(truth.distance_m, return_index=True)
    some = first[::20]
    nothing = np.full(len(some), np.nan)
    route = Route(asked.character, truth.lat_deg[some], truth.lon_deg[some], nothing)
    course = course_along(route, (), TileFolder((tile,)), config)
    scale = float(truth.distance_m[-1]) / course.length_m
    middle = (course.edge_m[1:] + course.edge_m[:-1]) / 2.0 * scale
    index, surfaces = _surfaces(asked, np.searchsorted(truth.distance_m, middle) - 1)
    return replace(
        course, surface=index, surfaces=surfaces, stops_m=_stops(asked, course.length_m), loop=True
    )


def _surfaces(asked: SimulatedRide, step: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
    """Surface of each cell; the simulator numbers them in its own order."""
    from tests.support.simulator import SURFACE_NAMES

    number = asked.truth.surface[step]
    named = [SURFACE_NAMES[int(value)] for value in number]
    surfaces = tuple(sorted(set(named)))
    return np.array([surfaces.index(name) for name in named], dtype=np.intp), surfaces


def _stops(asked: SimulatedRide, length_m: float) -> np.ndarray:
    truth = asked.truth
    at = [float(np.interp(start, truth.time_s, truth.distance_m)) for start, _, _ in truth.stops]
    places = np.unique(at)
    return places[(places > 5.0) & (places < length_m - 5.0)]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--vehicles", type=int, default=30)
    parser.add_argument("--learn", type=int, default=2, help="rides that are known")
    parser.add_argument("--seeds", choices=("tuning", "unseen", "both"), default="unseen")
    parser.add_argument("--known", choices=KNOWN, default="recharge")
    parser.add_argument("--course", choices=COURSES, default="true")
    parser.add_argument(
        "--asked",
        choices=ASKED,
        default="other",
        help="a ride of a character that no known ride has, or another ride like the first",
    )
    options = parser.parse_args()
    starts = {"tuning": (1,), "unseen": (FIRST_UNSEEN,), "both": (1, FIRST_UNSEEN)}[options.seeds]
    garages = [start + number for start in starts for number in range(options.vehicles)]
    rest = (options.learn, options.known, options.course, options.asked)
    with ProcessPoolExecutor(max_workers=2) as pool:
        columns = zip(*((garage, *rest) for garage in garages), strict=True)
        scores = [score for score in pool.map(score_vehicle, *columns) if score is not None]
    print_table(scores, len(garages))


def print_table(scores: list[Score], asked: int) -> None:
    """One row per character and one for all."""
    print(f"{len(scores)} of {asked} rides predicted, errors in %; the others empty the pack")
    print(f"{'':10}{'rides':>6}{'Wh/km':>8}{'bias':>7}{'in 90 %':>9}{'z':>6}", end="")
    print(f"{'range':>8}{'bias':>7}{'in 90 %':>9}{'z':>6}{'time bias':>11}")
    for name in (*sorted({score.character for score in scores}), "all"):
        chosen = [score for score in scores if name in (score.character, "all")]
        print(f"{name:10}{len(chosen):6d}", end="")
        for what in ("consumption", "range"):
            error = np.array([getattr(score, f"{what}_error") for score in chosen])
            inside = np.mean([getattr(score, f"{what}_in") for score in chosen])
            z = np.sqrt(np.mean([getattr(score, f"{what}_z") ** 2 for score in chosen]))
            print(f"{100 * np.mean(np.abs(error)):8.1f}{100 * np.mean(error):7.1f}", end="")
            print(f"{100 * inside:9.0f}{z:6.2f}", end="")
        print(f"{100 * np.mean([score.time_error for score in chosen]):11.1f}")


if __name__ == "__main__":
    main()
