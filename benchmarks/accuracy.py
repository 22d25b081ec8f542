"""How right the report is, on simulated rides whose truth is known.

    python -m benchmarks.accuracy [--rides N] [--seeds tuning|unseen]
        [--known bare|sheet|capacity|recharge|charger|metered]

Every ride is written as files, reported like any other, and its sections compared with the true
battery energy between the same clock times. Three ways are compared:

- by hand: the drop in percent between call-outs, shared by distance;
- handbook: this model with the call-outs hidden;
- report: what a user gets.

"Wrong" is the share of the energy put on the wrong section: half the sum of absolute errors over
the energy of the ride. Settings were chosen on the tuning seeds, which start at 1; the unseen ones
start at 2000.
"""

from __future__ import annotations

import argparse
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.support.simulator import CHARACTERS, SimulatedRide, simulate

from wherewatt.config import load_config
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.report.tables import sections_frame
from wherewatt.terrain.tiles import TileFolder

FIRST_UNSEEN = 2000
KNOWN = {
    "bare": ("readings",),
    **dict.fromkeys(
        ("sheet", "capacity", "recharge", "charger", "metered"), ("readings", "surface", "sheet")
    ),
}
MEASURED_SPREAD = (
    0.018  # of what an owner measured once: a pack meter of 1.5 %, a wall meter of 1 %
)
WAYS = ("by hand", "handbook", "report")


@dataclass(frozen=True)
class Score:
    """One ride: share on the wrong section by way, total error and intervals of the report."""

    character: str
    wrong: tuple[float, ...]
    total_error: float
    total_inside: bool
    inside: int
    sections: int
    z: tuple[float, ...]


def score_ride(character: str, seed: int, known: str) -> Score:
    """Simulate one ride, report it, compare it with the truth."""
    sim = simulate(character, seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        track = sim.write(
            folder,
            side_files=KNOWN[known],
            recharge=known in ("recharge", "charger"),
            metered=known == "metered",
            format="fit" if seed % 3 == 0 else "gpx",
        )
        if known != "bare":
            sim.write_tile(folder, 3)
        state_measured(folder / f"{track.stem}.toml", sim, known)
        tiles, config = TileFolder((folder,)), load_config()
        result = analyse(track, tiles, config)
        by_hand = hand_shares(result, sim.sheet.battery_nominal_wh)
        (folder / f"{track.stem}.readings.csv").unlink()
        sheet = folder / f"{track.stem}.toml"
        if sheet.exists():
            text = sheet.read_text(encoding="utf-8").split("[recharge]")[0]
            sheet.write_text(text, encoding="utf-8")
        handbook = analyse(track, tiles, config)
    truth = true_energy(sim, result)
    whole = float(truth.sum())

    def wrong(energy: np.ndarray) -> float:
        return float(np.abs(energy - truth).sum()) / 2.0 / whole

    handbook_wh = np.array([measure.mean for measure in handbook.ledger.section_measures])
    if len(handbook_wh) != len(truth):  # call-outs never move sections
        raise AssertionError("sections depend on call-outs")
    frame = sections_frame(result)
    inside = (truth >= frame["battery_wh_low90"]) & (truth <= frame["battery_wh_high90"])
    total = result.ledger.total
    return Score(
        character,
        (wrong(by_hand), wrong(handbook_wh), wrong(frame["battery_wh"].to_numpy())),
        total.mean / whole - 1.0,
        total.low90 <= whole <= total.high90,
        int(inside.sum()),
        len(truth),
        tuple(((frame["battery_wh"] - truth) / frame["battery_wh_sd"]).tolist()),
    )


def state_measured(sheet: Path, sim: SimulatedRide, known: str) -> None:
    """Add what the owner measured once: the pack's usable capacity, or the charger's efficiency."""
    error = np.random.default_rng([sim.seed, 77]).normal(1.0, MEASURED_SPREAD)
    if known == "capacity":
        line = f"battery_usable_wh = {sim.truth.usable_capacity_wh * error:.0f}"
    elif known == "charger":
        line = f"charger_efficiency = {sim.truth.total_wh / sim.sheet.wall_energy_wh * error:.3f}"
    else:
        return
    table = "[vehicle]\n" if known == "capacity" else "[recharge]\n"
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text.replace(table, f"{table}{line}\n"), encoding="utf-8")


def true_energy(sim: SimulatedRide, result: RideResult) -> np.ndarray:
    """True battery energy of the result's sections [Wh]."""
    frame = sections_frame(result)
    start, end = (
        frame[name].astype("datetime64[ns, UTC]").astype("int64").to_numpy() / 1e9
        for name in ("start_time", "end_time")
    )
    return np.asarray(sim.truth.energy_wh_between(start, end))


def hand_shares(result: RideResult, nominal_wh: float) -> np.ndarray:
    """Percent drops of the nominal battery, shared by distance between call-outs [Wh]."""
    shown = result.estimate.evidence.shown
    at = np.concatenate([[0.0], shown.distance_m, result.ride.distance_m[-1:]])
    percent = np.concatenate([shown.percent[:1], shown.percent, shown.percent[-1:]])
    used = (percent[0] - percent) / 100.0 * nominal_wh
    order = np.argsort(at, kind="stable")
    return np.diff(np.interp(result.sections.edge_m, at[order], used[order]))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=10, help="rides of each character")
    parser.add_argument("--seeds", choices=("tuning", "unseen", "both"), default="unseen")
    parser.add_argument(
        "--known",
        choices=tuple(KNOWN),
        default="sheet",
        help="track and call-outs alone; with tags, ride sheet and tile; with the pack's usable "
        "capacity, measured once; with recharge energy at the wall; with that and the charger's "
        "efficiency, measured once; with what a meter at the pack counted",
    )
    options = parser.parse_args()
    starts = {"tuning": (1,), "unseen": (FIRST_UNSEEN,), "both": (1, FIRST_UNSEEN)}[options.seeds]
    rides = [
        (character, start + number, options.known)
        for start in starts
        for character in CHARACTERS
        for number in range(options.rides)
    ]
    with ProcessPoolExecutor(max_workers=2) as pool:
        scores = list(pool.map(score_ride, *zip(*rides, strict=True)))
    print_table(scores)


def print_table(scores: list[Score]) -> None:
    """One row per character and one for all."""
    print(f"{len(scores)} rides; share of energy on the wrong section, mean [%]")
    print(f"{'character':10}" + "".join(f"{way:>10}" for way in WAYS), end="")
    print(f"{'total':>8}{'in 90 %':>9}{'total in':>9}{'z sd':>7}{'sections':>9}")
    for name in (*sorted({score.character for score in scores}), "all"):
        chosen = [score for score in scores if name in (score.character, "all")]
        wrong = 100.0 * np.mean([score.wrong for score in chosen], axis=0)
        total = 100.0 * np.mean([abs(score.total_error) for score in chosen])
        sections = sum(score.sections for score in chosen)
        inside = 100.0 * sum(score.inside for score in chosen) / sections
        totals_in = 100.0 * np.mean([score.total_inside for score in chosen])
        spread = np.sqrt(np.mean(np.square(np.concatenate([score.z for score in chosen]))))
        print(f"{name:10}" + "".join(f"{value:10.1f}" for value in wrong), end="")
        print(
            f"{total:8.1f}{inside:9.1f}{totals_in:9.1f}{spread:7.2f}{sections / len(chosen):9.1f}"
        )


if __name__ == "__main__":
    main()
