"""What a kill drill drops, and what must come of it: light stand-ins, or real rides and reports."""

from __future__ import annotations

import random
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.inbox.standin import RESULT_NAMES, Ears, StandIn, right_result
from tests.support.simulator import simulate
from tests.support.simulator.writers import write_gpx
from wherewatt.config import load_config
from wherewatt.inbox.job import Made, Work
from wherewatt.inbox.report_work import ReportWork
from wherewatt.inbox.settings import WatchSettings
from wherewatt.inbox.teller import Status
from wherewatt.inbox.watch import watch_folder
from wherewatt.pipeline import analyse_for_page, open_tiles
from wherewatt.report.files import (
    LEGS_NAME,
    PAGE_NAME,
    PROFILE_NAME,
    SECTIONS_MAP_NAME,
    SECTIONS_NAME,
    SECTIONS_PARQUET_NAME,
    SUMMARY_NAME,
    TRACK_MAP_NAME,
    write_result,
)
from wherewatt.units import DistanceUnit

POINTS = (60, 120)  # of a real ride, at 1 Hz


@dataclass(frozen=True)
class Journaled:
    """A work that notes in a journal what it begins."""

    work: Work
    journal: Path

    @property
    def key(self) -> str:
        return self.work.key

    def __call__(self, track: Path, folder: Path) -> Made:
        with self.journal.open("a", encoding="utf-8") as journal:
            journal.write(f"{track.name}\n")
        return self.work(track, folder)


class Idle(Ears):
    """Says by a file that a watch has dealt with all there is."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path

    def status(self, status: Status) -> None:
        if status.done and not (status.waiting or status.in_work):
            self.path.touch()


@dataclass(frozen=True)
class Kind:
    """A kind of drill.

    Parameters
    ----------
    result_names : the files of a result.
    side_text : of a side file of call-outs.
    tracks : contents of so many tracks by name, drawn from random numbers.
    work : how the watch makes results, with a journal and a pause within each [s].
    is_right : whether the result of a track, in a folder, is that of its whole files.
    jobs : results in the making at once.
    kills_spread : over which share of the work the kills are spread [1].
    start_s : a watch that is killed while it starts is killed within so long [s].
    patience_s, longest_s : how long to wait before any other kill, and for all results [s].
    """

    result_names: tuple[str, ...]
    side_text: str
    tracks: Callable[[int, random.Random], dict[str, bytes]]
    work: Callable[[Path, float], Work]
    is_right: Callable[[Path, Path], bool]
    jobs: int
    kills_spread: float
    start_s: float
    patience_s: float
    longest_s: float


def _random_tracks(count: int, numbers: random.Random) -> dict[str, bytes]:
    return {f"ride{number:04}": numbers.randbytes(2000) for number in range(count)}


def _is_right_stand_in(track: Path, result: Path) -> bool:
    files = [result / name for name in RESULT_NAMES]
    texts = [path.read_text(encoding="utf-8") for path in files if path.is_file()]
    return texts == [right_result(track)] * len(files)


def _small_rides(count: int, numbers: random.Random) -> dict[str, bytes]:
    """Pieces of a simulated ride, each begun elsewhere or of another length."""
    whole = simulate("commuter", 1, recorder="phone", sampling_s=1.0).track
    rides: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ride.gpx"
        while len(rides) < count:
            points = numbers.randint(*POINTS)
            first = numbers.randrange(len(whole.time_unix_s) - points)
            write_gpx(path, whole.take(np.arange(first, first + points)), "ride")
            name = f"ride{len(rides):04}"
            if path.read_bytes() not in rides.values():
                rides[name] = path.read_bytes()
    return rides


def _is_right_report(track: Path, result: Path) -> bool:
    """Byte for byte what a report of the track alone is."""
    with tempfile.TemporaryDirectory() as name:
        result_alone = analyse_for_page(track, open_tiles([]), load_config())
        write_result(result_alone, Path(name), DistanceUnit.KM)
        return all(
            (result / path.name).is_file()
            and (result / path.name).read_bytes() == path.read_bytes()
            for path in Path(name).iterdir()
        )


LIGHT = Kind(
    result_names=RESULT_NAMES,
    side_text="at,battery_pct\n",
    tracks=_random_tracks,
    work=StandIn,
    is_right=_is_right_stand_in,
    jobs=1,
    kills_spread=0.0,
    start_s=1.5,
    patience_s=20.0,
    longest_s=300.0,
)
REAL = Kind(
    result_names=(
        LEGS_NAME, PAGE_NAME, PROFILE_NAME, SECTIONS_MAP_NAME, SECTIONS_NAME,
        SECTIONS_PARQUET_NAME, SUMMARY_NAME, TRACK_MAP_NAME,
    ),
    side_text="at,battery_pct\n0:00:10,90\n0:00:50,89\n",
    tracks=_small_rides,
    work=lambda journal, _pause_s: Journaled(ReportWork(()), journal),
    is_right=_is_right_report,
    jobs=2,
    kills_spread=0.9,
    start_s=6.0,
    patience_s=600.0,
    longest_s=7200.0,
)  # fmt: skip
KINDS = {"light": LIGHT, "real": REAL}


def main() -> None:
    """Watch: kind, folder, folder of results, journal, settle time [s], pause in a result [s]."""
    kind = KINDS[sys.argv[1]]
    folder, out, journal = map(Path, sys.argv[2:5])
    settle_s, pause_s = map(float, sys.argv[5:7])
    settings = WatchSettings(
        settle_s=settle_s,
        patience_s=5 * settle_s,
        rescan_s=60.0,
        first_retry_s=settle_s,
        jobs=kind.jobs,
    )
    watch_folder(
        folder, out, kind.work(journal, pause_s), settings, Idle(journal.with_name("idle"))
    )


if __name__ == "__main__":
    main()
