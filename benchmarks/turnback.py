"""How well promises of getting home hold, on simulated rides of vehicles whose rides are known.

    python -m benchmarks.turnback [--vehicles N] [--learn N] [--days N]
                                  [--seeds tuning|unseen] [--known sheet|recharge|metered]

An owner reports some rides into a library. Then come days on other courses, in other weather. For
each, a turning point is promised from the course, the forecast, the pace and what the display shows
before setting out. The simulator drives to the far end and back; used out to a place and home from
it, with a start, is the truth of turning there. The pack is part-charged, so that the promise is
short of the far end. Told are

- "promise": share of days on which home is reached above the reserve from the promised turning
  point, which is to be as much as was asked;
- "card": the same for a rider who follows the card, kilometre by kilometre, by what the simulated
  display shows there;
- "turned at": how far out, over the farthest place that would truly have done;
- "in 90 %": share of days whose true charge at home lies in its interval.

`--ride` instead cuts recorded rides out and back at the turn, estimates what is recorded by then
with the library's help, and promises the charge at home: "promise" is then the share of rides that
have as much left as nine in ten are to have. The tuning seeds start at 1, the unseen ones at 2000.
"""

from __future__ import annotations

import argparse
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import repeat
from pathlib import Path

import numpy as np
from tests.support.simulator import CHARACTERS, SURFACE_NAMES, SimulatedRide, simulate
from tests.support.simulator.battery import Battery, Discharge, discharge
from tests.support.simulator.characters import Character
from tests.support.simulator.course import STEP_M, Stop, build_course
from tests.support.simulator.course import Course as TrueCourse
from tests.support.simulator.display import display_percent
from tests.support.simulator.drive import DT_S, LONGEST_S, drive
from tests.support.simulator.sheet import RideSheet, note_down
from tests.support.simulator.vehicle import Vehicle as TrueVehicle
from tests.support.simulator.vehicle import draw_style, draw_vehicle
from tests.support.simulator.wind import draw_weather

from benchmarks.outlook import FIRST_UNSEEN, KNOWN, _report
from wherewatt.config import Config, load_config
from wherewatt.ingest.sheet import WeatherSheet
from wherewatt.library import Library
from wherewatt.outlook.asked import Request
from wherewatt.outlook.course import Course
from wherewatt.outlook.homeward import Wanted, homeward
from wherewatt.outlook.out_and_home import out_and_home
from wherewatt.outlook.settings import Pace
from wherewatt.outlook.turnback import Turnback, turn_back
from wherewatt.outlook.vehicle import Day, find_vehicle, known_on
from wherewatt.pipeline import analyse
from wherewatt.terrain.tiles import TileFolder
from wherewatt.units import JOULES_PER_WATT_HOUR

WANTED = 0.9
RESERVE_PCT = 10.0
EVERY_M = 1000.0
_OWNED = {"scooter": 0.4, "fast_scooter": 0.3, "ebike": 0.3}
_CELL_M = 20.0
_TENTH = 1.2816 / 1.6449  # of the way from the median to the fifth percentile: the tenth
_EMPTY = (0.03, 0.07, 0.12, 0.2, 0.3)  # shares of the energy at which the simulated pack is stopped


@dataclass(frozen=True)
class Score:
    """One day."""

    character: str
    held: bool
    reached: float
    inside: bool
    card_held: bool
    card_reached: float
    misses_by: float


@dataclass(frozen=True)
class Lived:
    """A day as it truly was: to the far end and back.

    way_m and used_wh are along the whole of it; the pack is part-charged; the display is that of
    the way out.
    """

    length_m: float
    way_m: np.ndarray
    used_wh: np.ndarray
    start_wh: np.ndarray
    full_wh: float
    have_wh: float
    shown_at_m: np.ndarray
    shown_pct: np.ndarray

    def used_by_turning(self, at_m: np.ndarray) -> np.ndarray:
        """True energy of turning at some places [Wh]."""
        out, home = (
            np.interp(places, self.way_m, self.used_wh)
            for places in (at_m, 2.0 * self.length_m - at_m)
        )
        start = np.interp(2.0 * self.length_m - at_m, self.way_m, self.start_wh)
        return out + self.used_wh[-1] - home + start


def score_vehicle(garage: int, learn: int, days: int, known: str) -> list[Score]:
    """Learn some rides of one vehicle, then promise turning points on some days."""
    config = load_config()
    names = list(CHARACTERS)
    order = np.random.default_rng([garage, 5]).permutation(len(names))
    with tempfile.TemporaryDirectory() as folder:
        library = Library(Path(folder) / "library")
        learned = []
        for number in range(learn):
            try:
                ride = simulate(names[order[number]], 10 * garage + number, garage=garage)
            except RuntimeError:  # the pack is empty before the end
                return []
            _report(ride, Path(folder), library, known, config)
            learned.append(ride)
        scores = []
        for day in range(days):
            character = names[order[(learn + day) % len(names)]]
            rng = np.random.default_rng([garage, day, 91])
            score = score_day(learned[0], garage, character, library, config, rng)
            scores += [] if score is None else [score]
    return scores


def score_day(
    known: SimulatedRide,
    garage: int,
    character: str,
    library: Library,
    config: Config,
    rng: np.random.Generator,
) -> Score | None:
    """Promise a turning point and live the day."""
    kind = CHARACTERS[character]
    way = build_course(kind, rng)
    try:
        lived, sheet, course = live(known, garage, kind, way, rng, config)
    except RuntimeError:  # longer than a day
        return None
    vehicle = find_vehicle(known.sheet.vehicle_name, library, config)
    weather = WeatherSheet(
        temperature_c=sheet.temperature_c,
        wind_speed_m_s=sheet.wind_speed_m_s,
        wind_from_deg=sheet.wind_from_deg,
    )
    request = Request(
        vehicle=vehicle,
        day=Day(sheet.rider_mass_kg, weather),
        course=course,
        to_the_end=True,
        pace=_pace(known.truth.vehicle, config),
        battery_pct=None,
        reserve_pct=RESERVE_PCT,
    )
    return promised(lived, request, character, garage, rng, known, config)


def promised(
    lived: Lived,
    request: Request,
    character: str,
    garage: int,
    rng: np.random.Generator,
    known: SimulatedRide,
    config: Config,
) -> Score | None:
    """Set out with so much that the promise is likely to be short of the far end."""
    on_day = known_on(request.vehicle, request.day, request.course.surfaces, config)
    ways = out_and_home(request.course, request.pace, on_day, config)
    whole = float(np.median(ways.need_wh[:, -1] / ways.draws.column("battery_usable_wh")))
    aim = RESERVE_PCT / 100.0 + rng.uniform(0.35, 0.9) * whole
    lived = with_charge(lived, known.truth.battery, min(aim, 1.0), garage)
    pct = float(lived.shown_pct[0])
    if pct <= RESERVE_PCT:
        return None
    request = replace(request, battery_pct=None if pct >= 100.0 else pct)
    found = turn_back(request, WANTED, EVERY_M, config)
    spare = lived.have_wh - RESERVE_PCT / 100.0 * lived.full_wh
    places = np.arange(0.0, lived.length_m, 10.0)
    need = np.maximum.accumulate(lived.used_by_turning(places))
    best = float(places[max(0, int(np.searchsorted(need, spare)) - 1)])
    turned, card = found.farthest.at_m, follow(lived, found)
    if found.to_the_end or best <= 0.0:
        return None
    by_turn, by_card = lived.used_by_turning(np.array([turned, card]))
    left = (lived.have_wh - by_turn) / lived.full_wh
    spread = found.farthest.left
    return Score(
        character=character,
        held=bool(by_turn <= spare),
        reached=turned / best,
        inside=bool(spread.low90 <= left <= spread.high90),
        card_held=bool(by_card <= spare),
        card_reached=card / best,
        misses_by=100.0 * float(max(0.0, by_turn - spare)) / lived.full_wh,
    )


def follow(lived: Lived, found: Turnback) -> float:
    """Where a rider turns who reads the display at every row of the card."""
    for row in found.card.rows:
        shown = float(np.interp(row.at_m, lived.shown_at_m, np.arange(len(lived.shown_at_m))))
        if row.go_on_pct is None or lived.shown_pct[int(shown)] < row.go_on_pct:
            return row.at_m
    return found.card.rows[-1].at_m


def live(
    known: SimulatedRide,
    garage: int,
    kind: Character,
    way: TrueCourse,
    rng: np.random.Generator,
    config: Config,
) -> tuple[Lived, RideSheet, Course]:
    """Drive to the far end of a way and back."""
    owner = np.random.default_rng([garage, 77])
    vehicle, style = draw_vehicle(_OWNED, owner), draw_style(owner)
    assert vehicle == known.truth.vehicle
    out = _way_out(way)
    whole = _there_and_back(out, kind, rng)
    weather = draw_weather(rng, kind.wind_m_s, float(whole.height_m[0]), LONGEST_S)
    log = drive(whole, vehicle, style, weather, rng)
    joules = np.concatenate([[0.0], np.cumsum(log.steps["battery_w"] * np.diff(log.time_s))])
    inertia = vehicle.total_mass_kg * (1.0 + vehicle.rotating_share)
    start_j = 0.5 * inertia * log.speed_m_s**2 / 0.8
    battery = known.truth.battery
    lived = Lived(
        length_m=float(log.course_m[-1]) / 2.0,
        way_m=log.course_m,
        used_wh=joules / JOULES_PER_WATT_HOUR,
        start_wh=start_j / JOULES_PER_WATT_HOUR,
        full_wh=battery.usable_wh,
        have_wh=battery.usable_wh,
        shown_at_m=log.course_m,
        shown_pct=np.full(len(log.course_m), 100.0),
    )
    nothing = Discharge(np.ones(2), np.ones(2), 0.0)
    sheet = note_down(vehicle, battery, nothing, 1.0, weather, rng)
    return lived, sheet, _as_planned(out, kind)


def with_charge(lived: Lived, battery: Battery, share: float, garage: int) -> Lived:
    """The same day with a part-charged pack, and what its display shows on the way."""
    curve = battery.curve_v()
    energy = np.concatenate([[0.0], np.cumsum(curve)]) / curve.sum()
    soc = float(np.interp(share, energy, np.linspace(0.0, 1.0, len(energy))))
    have = share * battery.usable_wh
    pack = replace(battery, start_soc=soc)
    shown = display_percent(
        pack, _emptied(pack, lived, have), DT_S, np.random.default_rng([garage, 78])
    )
    at = lived.way_m[: len(shown)]
    return replace(lived, have_wh=have, shown_at_m=at, shown_pct=shown)


def _emptied(pack: Battery, lived: Lived, have_wh: float) -> Discharge:
    """The pack on its way until it is nearly empty; a heavy load empties it the sooner."""
    for kept in _EMPTY:
        lasts = int(np.searchsorted(lived.used_wh, have_wh - kept * pack.usable_wh))
        power = np.diff(lived.used_wh[: max(2, lasts)]) * JOULES_PER_WATT_HOUR / DT_S
        try:
            return discharge(pack, power, DT_S)
        except RuntimeError:
            continue
    raise AssertionError("a pack that is empty at the start")


def _way_out(way: TrueCourse) -> TrueCourse:
    """The way to the far end; of one that is out and back already, the first half."""
    n = len(way.course_m)
    back = np.allclose(way.height_m, way.height_m[::-1], atol=1e-6)
    return _part(way, np.arange((n + 1) // 2 if back else n))


def _part(way: TrueCourse, index: np.ndarray) -> TrueCourse:
    length = STEP_M * (len(index) - 1)
    arrays = ("lat_deg", "lon_deg", "x_m", "y_m", "height_m", "surface", "shelter")
    taken = {name: getattr(way, name)[index] for name in (*arrays, "east", "north")}
    return replace(
        way,
        course_m=STEP_M * np.arange(len(index), dtype=np.float64),
        curvature_per_m=way.curvature_per_m[index],
        stops=tuple(stop for stop in way.stops if 0.0 < stop.course_m < length - 20.0),
        **taken,
    )


def _there_and_back(out: TrueCourse, kind: Character, rng: np.random.Generator) -> TrueCourse:
    """The road to the far end and the same road home, with other red lights."""
    n = len(out.course_m)
    whole = _part(out, np.concatenate([np.arange(n), np.arange(n - 2, -1, -1)]))
    homeward = np.arange(2 * n - 1) >= n
    length = float(out.course_m[-1])
    count = rng.poisson(kind.lights_per_km * kind.red_share * 2.0 * length / 1000.0)
    lights = np.sort(rng.uniform(120.0, 2.0 * length - 120.0, count))
    lights = lights[np.abs(lights - length) > 60.0]
    stops = [Stop(at, float(rng.uniform(*kind.wait_s)), "light") for at in lights.tolist()]
    stops.append(Stop(length, float(rng.uniform(5.0, 40.0)), "turn"))
    stops.sort(key=lambda stop: stop.course_m)
    apart = [stops[0]]
    apart += [stop for stop in stops[1:] if stop.course_m - apart[-1].course_m > 12.0]
    return replace(
        whole,
        east=np.where(homeward, -whole.east, whole.east),
        north=np.where(homeward, -whole.north, whole.north),
        stops=(
            Stop(0.0, 5.0, "start"),
            *(stop for stop in apart if stop.course_m > 12.0),
            Stop(2.0 * length - 4.0, 5.0, "end"),
        ),
    )


def _as_planned(out: TrueCourse, kind: Character) -> Course:
    """What a planner knows of the way out; nobody knows where lights will be red."""
    length = float(out.course_m[-1])
    edge = np.linspace(0.0, length, round(length / _CELL_M) + 1)
    cell = np.minimum(((edge[1:] + edge[:-1]) / 2.0 / STEP_M).astype(np.intp), len(out.surface) - 1)
    named = [SURFACE_NAMES[int(number)] for number in out.surface[cell]]
    surfaces = tuple(sorted(set(named)))
    east, north = (np.diff(np.interp(edge, out.course_m, of)) for of in (out.x_m, out.y_m))
    course = Course(
        name="day",
        edge_m=edge,
        height_m=np.interp(edge, out.course_m, out.height_m),
        heading_rad=np.arctan2(east, north),
        surface=np.array([surfaces.index(name) for name in named], dtype=np.intp),
        surfaces=surfaces,
        stops_m=np.zeros(0),
        loop=False,
    )
    return course.with_stops(kind.lights_per_km * kind.red_share)


@dataclass(frozen=True)
class RideScore:
    """One ride cut at its turn: charge at home promised and true [% of the energy]."""

    character: str
    held: bool
    inside: bool
    off_pct: float
    now_off_pct: float


def score_rides(garage: int, learn: int, days: int, known: str) -> list[RideScore]:
    """Learn some rides of one vehicle, then cut others at their turn."""
    config, names = load_config(), list(CHARACTERS)
    order = np.random.default_rng([garage, 5]).permutation(len(names))
    scores: list[RideScore] = []
    with tempfile.TemporaryDirectory() as folder:
        library = Library(Path(folder) / "library")
        for number, kind in enumerate(np.resize(order, learn + days)):
            try:
                ride = simulate(names[kind], 10 * garage + number, garage=garage)
            except RuntimeError:
                continue
            turn = [end for _, end, stop in ride.truth.stops if stop.kind == "turn"]
            if number < learn:
                _report(ride, Path(folder), library, known, config)
            elif turn:
                scores.append(score_ride(ride, turn[0], Path(folder), library, config))
    return scores


def score_ride(
    ride: SimulatedRide, turn_s: float, folder: Path, library: Library, config: Config
) -> RideScore:
    """Promise the way home of one ride."""
    truth = ride.truth
    by_then = np.flatnonzero(ride.track.time_unix_s - truth.start_unix_s <= turn_s)
    spoken = tuple(one for one in ride.call_outs if one.time_s <= turn_s - 60.0)
    part = replace(ride, track=ride.track.take(by_then), call_outs=spoken)
    track = part.write(folder, side_files=("readings", "sheet"))
    result = analyse(track, TileFolder((folder,)), config, library)
    asked = Wanted(None, None, RESERVE_PCT, WANTED, 1.0 / 3.6)
    left = homeward(result, asked, config)
    whole = truth.battery.usable_wh
    at_home = 1.0 - truth.total_wh / whole
    now = 1.0 - float(np.interp(turn_s, truth.time_s, _used(ride))) / whole
    spread = left.present.left
    promise = spread.median - (spread.median - spread.low90) * _TENTH
    return RideScore(
        character=ride.character,
        held=bool(at_home >= promise),
        inside=bool(spread.low90 <= at_home <= spread.high90),
        off_pct=100.0 * (spread.median - at_home),
        now_off_pct=100.0 * (left.left.median - now),
    )


def _used(ride: SimulatedRide) -> np.ndarray:
    truth = ride.truth
    joules = np.concatenate([[0.0], np.cumsum(truth.battery_w * np.diff(truth.time_s))])
    return joules / JOULES_PER_WATT_HOUR


def print_rides(scores: list[RideScore]) -> None:
    """One row per character and one for all."""
    print(f"{len(scores)} rides cut at the turn, promised to {100 * WANTED:.0f} %; shares in %")
    print(f"{'':10}{'rides':>6}{'promise':>9}{'in 90 %':>9}{'at home off by':>16}{'now':>7}")
    for name in (*sorted({score.character for score in scores}), "all"):
        chosen = [score for score in scores if name in (score.character, "all")]
        held, inside = (
            100.0 * np.mean([getattr(score, what) for score in chosen])
            for what in ("held", "inside")
        )
        home, now = (
            float(np.mean([abs(getattr(score, what)) for score in chosen]))
            for what in ("off_pct", "now_off_pct")
        )
        print(f"{name:10}{len(chosen):6d}{held:9.0f}{inside:9.0f}{home:16.1f}{now:7.1f}")


def _pace(vehicle: TrueVehicle, config: Config) -> Pace:
    return replace(
        config.pace,
        top_speed_m_s=round(3.6 * vehicle.cruise_m_s) / 3.6,
        wheel_power_w=round(vehicle.max_power_w, -1),
        wheel_force_n=round(vehicle.max_force_n, -1),
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--vehicles", type=int, default=30)
    parser.add_argument("--learn", type=int, default=2, help="rides that are known")
    parser.add_argument("--days", type=int, default=4, help="of each vehicle")
    parser.add_argument("--seeds", choices=("tuning", "unseen"), default="unseen")
    parser.add_argument("--known", choices=KNOWN, default="recharge")
    parser.add_argument("--ride", action="store_true", help="cut rides at their turn")
    options = parser.parse_args()
    first = 1 if options.seeds == "tuning" else FIRST_UNSEEN
    garages = range(first, first + options.vehicles)
    rest = (repeat(options.learn), repeat(options.days), repeat(options.known))
    with ProcessPoolExecutor(max_workers=2) as pool:
        if options.ride:
            print_rides([one for some in pool.map(score_rides, garages, *rest) for one in some])
        else:
            print_table([one for some in pool.map(score_vehicle, garages, *rest) for one in some])


def print_table(scores: list[Score]) -> None:
    """One row per character and one for all."""
    print(f"{len(scores)} days, promised to {100 * WANTED:.0f} %; shares in %")
    print(f"{'':10}{'days':>6}{'promise':>9}{'turned at':>11}{'in 90 %':>9}", end="")
    print(f"{'card':>7}{'turned at':>11}{'worst miss':>12}")
    for name in (*sorted({score.character for score in scores}), "all"):
        chosen = [score for score in scores if name in (score.character, "all")]
        print(f"{name:10}{len(chosen):6d}", end="")
        for what, width in (
            ("held", 9),
            ("reached", 11),
            ("inside", 9),
            ("card_held", 7),
            ("card_reached", 11),
        ):
            mean = 100.0 * np.mean([getattr(score, what) for score in chosen])
            print(f"{mean:{width}.0f}", end="")
        print(f"{max(score.misses_by for score in chosen):12.1f}")


if __name__ == "__main__":
    main()
