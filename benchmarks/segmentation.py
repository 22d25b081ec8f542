"""How well sections fit the truth, on simulated rides, and how well they bear another recording.

    python -m benchmarks.segmentation [--rides N] [--seeds tuning|unseen|both]

Every ride is recorded by a phone and by a bike computer, every 1, 4 and 10 s, and cut with and
without a terrain tile; its surfaces are tagged at the exact moments at which they truly change.
Sections are put on the true distance by their clock times, then compared with the true ones
(tests/support/true_sections.py) by covering (tests/support/partition_metrics.py):

- terrain, flow: covering of the true stretches by those found, and the share of the way that has
  the right label, both from the recording every second;
- surface: share of the time that has the right surface;
- 1/4/10 s: covering between the sections of two recordings of one ride, mean of both directions
  and of the three pairs; with the surface edges, which are the same in all, and without.

Settings were chosen on the tuning seeds, which start at 1; the unseen ones start at 2000.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from tests.support.partition_metrics import changes_of, covering
from tests.support.simulator import CHARACTERS, SimulatedRide, Truth, simulate
from tests.support.true_sections import Stretches, true_flow, true_surface, true_terrain

from wherewatt.config import load_config
from wherewatt.pipeline import analyse
from wherewatt.sections.cutting import Sections
from wherewatt.terrain.tiles import TileFolder

STARTS = {"tuning": (1,), "unseen": (2000,), "both": (1, 2000)}
RECORDERS = ("phone", "computer")
SAMPLINGS_S = (1.0, 4.0, 10.0)
ASKED = {"terrain": 0.85, "flow": 0.80, "surface": 0.97, "1/4/10 s": 0.85}


@dataclass(frozen=True)
class Found:
    """The sections of one recording: their edges by true time and distance, and their labels."""

    edge_s: np.ndarray
    edge_m: np.ndarray
    terrain: tuple[str, ...]
    flow: tuple[str, ...]
    surface: tuple[str, ...]

    @property
    def changes(self) -> list[float]:
        """Where sections begin [m]."""
        return self.edge_m[1:-1].tolist()

    @property
    def untagged_changes(self) -> list[float]:
        """Where terrain or flow change [m]."""
        return changes_of(list(zip(self.terrain, self.flow, strict=True)), self.edge_m.tolist())


@dataclass(frozen=True)
class Score:
    """One ride by one recorder, with or without a tile; all numbers are shares."""

    character: str
    recorder: str
    tile: bool
    values: dict[str, float]


def score_ride(character: str, seed: int) -> list[Score]:
    """Simulate one ride, cut all its recordings, compare them with the truth and each other."""
    scores = []
    for recorder in RECORDERS:
        rides = [
            simulate(character, seed, recorder=recorder, sampling_s=step) for step in SAMPLINGS_S
        ]
        for tile in (True, False):
            found = [find_sections(ride, tile=tile) for ride in rides]
            values = {**against_truth(found[0], rides[0].truth), **against_each_other(found)}
            scores.append(Score(character, recorder, tile, values))
    return scores


def find_sections(sim: SimulatedRide, *, tile: bool) -> Found:
    """What a user would get who tagged every surface at the right moment."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        track = sim.write(folder, side_files=(), format="fit")
        write_exact_tags(folder / f"{track.stem}.surface.csv", sim.truth)
        if tile:
            sim.write_tile(folder, 3)
        sections = analyse(track, TileFolder((folder,)), load_config()).sections
    return on_true_distance(sections, sim.truth)


def write_exact_tags(path: Path, truth: Truth) -> None:
    """Tags by clock time, to the millisecond."""
    lines = ["from,to,surface"]
    for start_s, end_s, name in true_surface(truth):
        times = [
            datetime.fromtimestamp(round(truth.start_unix_s + at, 3), UTC).isoformat()
            for at in (start_s, end_s)
        ]
        lines.append(",".join([*times, name]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def on_true_distance(sections: Sections, truth: Truth) -> Found:
    """Edges of sections by the true time and distance at their clock times."""
    ride = sections.ride
    points = np.append(sections.first_leg, len(sections.leg_section))
    edge_s = ride.time_s[points] + (ride.start_unix_s - truth.start_unix_s)
    edge_s[[0, -1]] = truth.time_s[[0, -1]]  # what is not recorded belongs to the first and last
    edge_m = np.interp(edge_s, truth.time_s, truth.distance_m)
    return Found(edge_s, edge_m, sections.terrain, sections.flow, sections.surface)


def against_truth(found: Found, truth: Truth) -> dict[str, float]:
    """Covering and share right of the labels of one recording."""
    values: dict[str, float] = {}
    for name, true in (("terrain", true_terrain(truth)), ("flow", true_flow(truth))):
        labels = getattr(found, name)
        values[name] = covering_of(labels, found.edge_m, true)
        values[f"{name} right"] = share_right(labels, found.edge_m, true)
    middle_s = (truth.time_s[1:] + truth.time_s[:-1]) / 2.0
    here = np.searchsorted(found.edge_s[1:-1], middle_s, side="right")
    true_names = np.empty(len(middle_s), dtype=object)
    for start_s, end_s, surface in true_surface(truth):
        true_names[(middle_s >= start_s) & (middle_s < end_s)] = surface
    values["surface"] = float(np.mean(np.array(found.surface, dtype=object)[here] == true_names))
    values["sections"] = float(len(found.terrain))
    return values


def covering_of(labels: Sequence[str], edges_m: np.ndarray, true: Stretches) -> float:
    """Covering of true stretches by the stretches of equal label."""
    length = float(true.edges_m[-1])
    return covering([true.edges_m[1:-1]], changes_of(labels, edges_m.tolist()), length)


def share_right(labels: Sequence[str], edges_m: np.ndarray, true: Stretches) -> float:
    """Share of the way, by cells of 10 m, whose label is the true one."""
    middle = np.arange(5.0, true.edges_m[-1], 10.0)
    here = np.searchsorted(edges_m[1:-1], middle, side="right")
    return float(np.mean(np.array(labels)[here] == true.at(middle)))


def against_each_other(found: Sequence[Found]) -> dict[str, float]:
    """Covering between recordings of one ride."""
    pairs = list(itertools.permutations(found, 2))
    length = float(found[0].edge_m[-1])
    return {
        "1/4/10 s": float(np.mean([covering([a.changes], b.changes, length) for a, b in pairs])),
        "untagged": float(
            np.mean([covering([a.untagged_changes], b.untagged_changes, length) for a, b in pairs])
        ),
    }


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=10, help="rides of each character")
    parser.add_argument("--seeds", choices=tuple(STARTS), default="unseen")
    options = parser.parse_args()
    rides = [
        (character, start + number)
        for start in STARTS[options.seeds]
        for character in CHARACTERS
        for number in range(options.rides)
    ]
    with ProcessPoolExecutor(max_workers=2) as pool:
        scores = list(itertools.chain(*pool.map(score_ride, *zip(*rides, strict=True))))
    print(f"{len(rides)} rides; means, shares of 1; asked: ", end="")
    print(", ".join(f"{name} {value:.2f}" for name, value in ASKED.items()))
    print_table(scores)


def print_table(scores: Sequence[Score]) -> None:
    """Rows by recorder and tile, by character, and for all."""
    columns = tuple(scores[0].values)
    print(f"{'':20}" + "".join(f"{name:>14}" for name in columns))
    for recorder, tile in itertools.product(RECORDERS, (True, False)):
        chosen = [score for score in scores if (score.recorder, score.tile) == (recorder, tile)]
        _print_row(f"{recorder}, {'tile' if tile else 'no tile'}", chosen)
    for character in CHARACTERS:
        _print_row(character, [score for score in scores if score.character == character])
    _print_row("all", scores)
    worst = {name: min(score.values[name] for score in scores) for name in ASKED}
    print("worst: " + ", ".join(f"{name} {value:.2f}" for name, value in worst.items()))


def _print_row(name: str, scores: Sequence[Score]) -> None:
    if not scores:
        return
    print(f"{name:20}", end="")
    for column in scores[0].values:
        value = float(np.mean([score.values[column] for score in scores]))
        print(f"{value:14.1f}" if column == "sections" else f"{value:14.3f}", end="")
    print()


if __name__ == "__main__":
    main()
