"""How long a ride takes from file to result, room by room, against gpxpy reading the same file.

    OPENBLAS_NUM_THREADS=1 python -m benchmarks.pipeline [--repeats N]

One simulated ride of about 70 minutes at 1 Hz with tile, tags, ride sheet and call-outs. CPU time,
best of some runs, warm. gpxpy parses without lxml, which is its faster way.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from unittest.mock import patch

import gpxpy
from tests.support.simulator import SimulatedRide, simulate

from wherewatt import pipeline
from wherewatt.config import load_config
from wherewatt.terrain.tiles import TileFolder

LONG_S = 4000.0
ROOMS = (
    "read_recording",
    "trace_ride",
    "blend_heights",
    "cut_sections",
    "estimate_ride",
    "build_ledger",
)


def long_ride() -> SimulatedRide:
    """The first simulated ride that is long enough."""
    for seed in range(1, 12):
        ride = simulate("windy", seed, recorder="phone", sampling_s=1.0)
        if ride.truth.time_s[-1] >= LONG_S:
            return ride
    raise AssertionError("no long ride among the first seeds")


def best_cpu_s(work: Callable[[], object], repeats: int) -> float:
    """Least CPU time of some runs [s]."""
    times = []
    for _ in range(repeats):
        before = time.process_time()
        work()
        times.append(time.process_time() - before)
    return min(times)


def by_room(work: Callable[[], object]) -> dict[str, float]:
    """CPU time of one run spent in each room [s]."""
    spent = dict.fromkeys(ROOMS, 0.0)

    def timed(name: str) -> Callable[..., object]:
        inner = getattr(pipeline, name)

        def run(*args: object, **kwargs: object) -> object:
            before = time.process_time()
            try:
                return inner(*args, **kwargs)
            finally:
                spent[name] += time.process_time() - before

        return run

    with ExitStack() as patches:
        for name in ROOMS:
            patches.enter_context(patch.object(pipeline, name, timed(name)))
        work()
    return spent


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=9)
    options = parser.parse_args()
    ride = long_ride()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        track = ride.write(folder)
        ride.write_tile(folder, 3)
        tiles, config = TileFolder((folder,)), load_config()

        def analyse() -> object:
            return pipeline.analyse(track, tiles, config)

        analyse()
        whole = best_cpu_s(analyse, options.repeats)
        runs = [by_room(analyse) for _ in range(options.repeats)]
        text = track.read_text(encoding="utf-8")
        peer = best_cpu_s(lambda: gpxpy.parse(text), options.repeats)
    print(f"{len(ride.track.time_unix_s)} points, {ride.truth.time_s[-1] / 60.0:.0f} min")
    print(f"{'':16}{'CPU, ms':>9}{'of gpxpy':>10}")
    rows = {room: min(run[room] for run in runs) for room in ROOMS}
    for label, seconds in {"gpxpy": peer, "analyse": whole, **rows}.items():
        print(f"{label:16}{1000.0 * seconds:9.1f}{seconds / peer:10.2f}")


if __name__ == "__main__":
    main()
