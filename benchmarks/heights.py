"""How right the height is, on simulated rides whose road is known.

    python -m benchmarks.heights [--rides N] [--seeds tuning|unseen]

Every ride is recorded by a phone and by a bike computer and blended with tiles of 3″ and 1″. No
hand tags are given. Columns:

- recorded, tile, blend: root mean square error of the grade over 100 m [%];
- ratio: blend over the better of the two sources;
- section: median error of a section's height change [m];
- in 90 %: share of sections whose true height change lies within the interval;
- z 100 m: error of the rise over 100 m in units of its stated standard deviation, root mean square;
- ascent: mean error of the ascent, in percent of the true one by the same method; the second is
  what the recorded height gives if every rise is added up;
- found: bridges of 6 m and more found, of all; false: structures where there is none, per 100 km.

Settings were chosen on the tuning seeds, which start at 1; the unseen ones start at 2000.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from tests.support.simulator import CHARACTERS, SimulatedRide, Truth, simulate

from wherewatt.config import Config, load_config
from wherewatt.ingest import read_track
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride
from wherewatt.sections.cutting import cut_sections
from wherewatt.terrain.ascent import ascent_and_descent
from wherewatt.terrain.blend import blend_heights
from wherewatt.terrain.nodes import nodes_of
from wherewatt.terrain.profile import Profile
from wherewatt.terrain.tiles import TileFolder

FloatArray = npt.NDArray[np.float64]

FIRST_UNSEEN = 2000
STEP_M = 100.0  # over which a grade is told
LOWEST_BRIDGE_M = 6.0


@dataclass(frozen=True)
class Score:
    """One ride of one recorder on one tile."""

    case: tuple[str, str, int]  # character, recorder, arc seconds
    grade_error: tuple[float, ...]  # recorded, tile, blend [%]
    grade_z: float
    section_error_m: tuple[float, ...]
    section_inside: tuple[bool, ...]
    ascent_error: tuple[float, float]  # blend, recorded height
    bridges: int
    found: int
    false: int
    length_km: float


def score_ride(character: str, seed: int, recorder: str) -> list[Score]:
    """Simulate one ride, blend its heights over both tiles, compare with the truth."""
    config = load_config()
    sim = simulate(character, seed, recorder=recorder)
    scores = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        track = sim.write(folder, side_files=())
        ride = trace_ride(read_track(track), config.motion)
        for arc_seconds in (3, 1):
            sim.write_tile(folder, arc_seconds)
            case = character, recorder, arc_seconds
            scores.append(_score(case, sim, ride, TileFolder((folder,)), config))
    return scores


def _score(
    case: tuple[str, str, int], sim: SimulatedRide, ride: Ride, tiles: TileFolder, config: Config
) -> Score:
    tile_m = tiles.sample(ride.latitude_deg, ride.longitude_deg)
    nodes = nodes_of(ride, config.terrain)
    profile = blend_heights(
        nodes, tiles.survey(nodes.latitude_deg, nodes.longitude_deg), config.terrain
    )
    truth = sim.truth
    known = np.isfinite(ride.recorded_height_m)
    sources = (
        (ride.time_s[known], ride.recorded_height_m[known]),
        (ride.time_s, tile_m),
        (ride.time_s, profile.height_at(ride.distance_m)),
    )
    errors = [_step_errors(truth, ride, *source) for source in sources]
    at_m = _reached(ride, _step_times(truth, ride))
    sd = np.sqrt(np.diag(_of_steps(profile.covariance_at(at_m))))
    section_error, section_sd = _section_errors(ride, profile, truth, config)
    found, false = _structures(profile, ride, truth)
    high = sum(bridge.rise_m >= LOWEST_BRIDGE_M for bridge in truth.bridges)
    return Score(
        case=case,
        grade_error=tuple(float(np.sqrt(np.mean(error**2))) for error in errors),
        grade_z=float(np.sqrt(np.mean((errors[2] / sd) ** 2))),
        section_error_m=tuple(np.abs(section_error).tolist()),
        section_inside=tuple((np.abs(section_error) <= 1.645 * section_sd).tolist()),
        ascent_error=_ascent_errors(profile, ride, truth, config),
        bridges=high,
        found=found,
        false=false,
        length_km=float(ride.distance_m[-1]) / 1000.0,
    )


def _true_height(truth: Truth, ride: Ride, time_s: FloatArray) -> FloatArray:
    return np.interp(time_s + ride.start_unix_s - truth.start_unix_s, truth.time_s, truth.height_m)


def _step_times(truth: Truth, ride: Ride) -> FloatArray:
    """Times at which the rider passed every 100 m [s since the start of the recording]."""
    steps = np.arange(STEP_M, truth.distance_m[-1] - STEP_M, STEP_M)
    first = np.concatenate([[True], np.diff(truth.distance_m) > 0])
    time_s = np.interp(steps, truth.distance_m[first], truth.time_s[first])
    time_s = time_s + truth.start_unix_s - ride.start_unix_s
    return time_s[(time_s >= 0) & (time_s <= ride.time_s[-1])]


def _reached(ride: Ride, time_s: FloatArray) -> FloatArray:
    return np.interp(time_s, ride.time_s, ride.distance_m)


def _step_errors(truth: Truth, ride: Ride, time_s: FloatArray, height_m: FloatArray) -> FloatArray:
    """Errors of the rise over 100 m: metres, which are percent of grade."""
    at = _step_times(truth, ride)
    return np.diff(np.interp(at, time_s, height_m) - _true_height(truth, ride, at))


def _of_steps(covariance: FloatArray) -> FloatArray:
    return np.diff(np.diff(covariance, axis=0), axis=1)


def _section_errors(
    ride: Ride, profile: Profile, truth: Truth, config: Config
) -> tuple[FloatArray, FloatArray]:
    sections = cut_sections(
        ride,
        profile,
        tags=(),
        places=(),
        settings=config.sections,
        place_settings=config.places,
    )
    points = np.append(sections.first_leg, len(sections.leg_section))
    time_s, edge_m = sections.ride.time_s[points], sections.edge_m
    error = np.diff(profile.height_at(edge_m) - _true_height(truth, ride, time_s))
    return error, np.sqrt(np.diag(_of_steps(profile.covariance_at(edge_m))))


def _ascent_errors(
    profile: Profile, ride: Ride, truth: Truth, config: Config
) -> tuple[float, float]:
    """Of the blend by the stated method, and of the recorded height with every rise counted."""

    def ascent(height_m: FloatArray) -> float:
        whole = np.zeros(len(height_m) - 1, dtype=np.intp)
        threshold_m = config.terrain.turn_m
        return float(ascent_and_descent(height_m, whole, 1, threshold_m)[0][0])

    recorded = ride.recorded_height_m[np.isfinite(ride.recorded_height_m)]
    true = ascent(truth.height_m)
    every_rise = float(np.sum(np.maximum(np.diff(recorded), 0.0)))
    return ascent(profile.height_at(ride.distance_m)) / true - 1.0, every_rise / true - 1.0


def _structures(profile: Profile, ride: Ride, truth: Truth) -> tuple[int, int]:
    """Bridges found, and structures where there is none."""
    found = 0
    hit = [False] * len(profile.structures)
    for bridge in truth.bridges:
        edges = np.interp([bridge.start_m, bridge.end_m], truth.course_m, truth.time_s)
        start, end = _reached(ride, edges + truth.start_unix_s - ride.start_unix_s)
        overlaps = [
            min(end, structure.end_m) - max(start, structure.start_m) > 0.3 * (end - start)
            for structure in profile.structures
        ]
        hit = [was or now for was, now in zip(hit, overlaps, strict=True)]
        found += any(overlaps) and bridge.rise_m >= LOWEST_BRIDGE_M
    return found, hit.count(False)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=5, help="rides of each character")
    parser.add_argument("--seeds", choices=("tuning", "unseen"), default="unseen")
    options = parser.parse_args()
    start = {"tuning": 1, "unseen": FIRST_UNSEEN}[options.seeds]
    seeds = range(start, start + options.rides)
    rides = list(itertools.product(CHARACTERS, seeds, ("phone", "computer")))
    with ProcessPoolExecutor(max_workers=2) as pool:
        scores = list(
            itertools.chain.from_iterable(pool.map(score_ride, *zip(*rides, strict=True)))
        )
    print_table(scores)


def print_table(scores: list[Score]) -> None:
    """Rows by character, recorder and tile."""
    print(f"{len(scores)} rides; grade over {STEP_M:.0f} m [%], heights [m], ascent [%]")
    print(
        f"{'':22}{'recorded':>9}{'tile':>6}{'blend':>7}{'ratio':>7}{'section':>9}{'in 90 %':>9}"
        f"{'z 100 m':>9}{'ascent':>8}{'recorded':>10}{'found':>9}{'false':>7}"
    )
    for name, chosen in _groups(scores):
        grades = np.sqrt(np.mean(np.square([score.grade_error for score in chosen]), axis=0))
        errors = np.concatenate([score.section_error_m for score in chosen])
        inside = np.concatenate([score.section_inside for score in chosen])
        z = np.sqrt(np.mean(np.square([score.grade_z for score in chosen])))
        ascent = 100.0 * np.mean([score.ascent_error for score in chosen], axis=0)
        found = f"{sum(score.found for score in chosen)}/{sum(score.bridges for score in chosen)}"
        way = sum(score.length_km for score in chosen)
        false = 100.0 * sum(score.false for score in chosen) / way
        print(
            f"{name:22}{grades[0]:9.2f}{grades[1]:6.2f}{grades[2]:7.2f}"
            f"{grades[2] / min(grades[:2]):7.2f}{np.median(errors):9.2f}"
            f"{100 * np.mean(inside):9.1f}{z:9.2f}{ascent[0]:8.1f}{ascent[1]:10.1f}"
            f"{found:>9}{false:7.1f}"
        )


def _groups(scores: list[Score]) -> Iterator[tuple[str, list[Score]]]:
    for recorder in ("phone", "computer"):
        for character in CHARACTERS:
            yield (
                f"{recorder} {character}",
                [score for score in scores if score.case[:2] == (character, recorder)],
            )
        for arc_seconds in (3, 1):
            yield (
                f"{recorder} {arc_seconds}″",
                [score for score in scores if score.case[1:] == (recorder, arc_seconds)],
            )
    yield "all", scores


if __name__ == "__main__":
    main()
