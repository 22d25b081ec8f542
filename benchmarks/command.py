"""How long a whole command takes, against importing pandas in the same run; and how heavy its page.

    OPENBLAS_NUM_THREADS=1 python -m benchmarks.command [--repeats N]

One simulated ride of about 90 minutes at 1 Hz with tile, tags, ride sheet and call-outs. Commands
run in fresh processes, in turn, so that a busy moment meets all of them; medians. Elapsed time is
what counts; CPU time stands beside it. gpxpy parses without lxml, which is its faster way.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from unittest.mock import patch

from tests.support.simulator import CHARACTERS, SimulatedRide, simulate

from wherewatt.config import load_config
from wherewatt.pipeline import analyse
from wherewatt.report.chart_script import chart_library
from wherewatt.report.files import PAGE_NAME, write_page
from wherewatt.terrain.tiles import TileFolder
from wherewatt.units import DistanceUnit

LENGTHS_M = (30_000.0, 31_000.0)  # makes it a ride of 92 minutes
HELP_LIMIT, REPORT_LIMIT = 0.25, 3.0  # of importing pandas
PAGE_LIMIT, PAGE_LIMIT_MB = 1.0, 1.5  # of gpxpy; without the chart library

# Byte code is kept, as it is of an installed package.
_ENVIRONMENT = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
_ENVIRONMENT.pop("PYTHONDONTWRITEBYTECODE", None)


@dataclass(frozen=True)
class Spent:
    """Elapsed and CPU time of one run [s]."""

    elapsed_s: float
    cpu_s: float


def long_ride() -> SimulatedRide:
    """A windy ride that is longer than its character's others."""
    longer = replace(CHARACTERS["windy"], length_m=LENGTHS_M)
    with patch.dict(CHARACTERS, windy=longer):
        return simulate("windy", 4, recorder="phone", sampling_s=1.0)


def commands(track: Path, terrain: Path, out: Path) -> dict[str, list[str]]:
    """What is run, by label; the first is what the others are measured by."""
    report = ["report", str(track), "--terrain", str(terrain), "--out", str(out)]
    return {
        "import pandas": ["-c", "import pandas"],
        "--help": ["-m", "wherewatt", "--help"],
        "report": ["-m", "wherewatt", *report],
    }


def run(arguments: Sequence[str]) -> Spent:
    """Run Python in a process of its own."""
    before, began_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments],
        env=_ENVIRONMENT,
        stdout=subprocess.DEVNULL,
        check=True,
    )
    elapsed_s, after = time.perf_counter() - began_s, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Spent(elapsed_s, cpu_s)


def in_turn(what: Mapping[str, Callable[[], Spent]], repeats: int) -> dict[str, Spent]:
    """Medians by label, after one run of each that does not count."""
    runs: dict[str, list[Spent]] = {label: [] for label in what}
    for _ in range(repeats + 1):
        for label, work in what.items():
            runs[label].append(work())
    return {
        label: Spent(median(it.elapsed_s for it in own[1:]), median(it.cpu_s for it in own[1:]))
        for label, own in runs.items()
    }


def timed(work: Callable[[], object]) -> Spent:
    """Do something here."""
    began_s, before_s = time.perf_counter(), time.process_time()
    work()
    return Spent(time.perf_counter() - began_s, time.process_time() - before_s)


def print_rows(spent: Mapping[str, Spent], limits: Mapping[str, float]) -> None:
    """Times and ratios to the first row."""
    first = next(iter(spent))
    print(f"{'':16}{'elapsed, ms':>12}{'CPU, ms':>9}{f'of {first}':>18}{'by CPU':>8}{'limit':>7}")
    for label, it in spent.items():
        ratio = it.elapsed_s / spent[first].elapsed_s, it.cpu_s / spent[first].cpu_s
        limit = f"{limits[label]:7.2f}" if label in limits else ""
        times = f"{1000.0 * it.elapsed_s:12.0f}{1000.0 * it.cpu_s:9.0f}"
        print(f"{label:16}{times}{ratio[0]:18.2f}{ratio[1]:8.2f}{limit}")


def weigh_page(track: Path, terrain: Path, out: Path, repeats: int) -> None:
    """Size of the page, and the time to write it."""
    sys.modules["lxml"] = None  # type: ignore[assignment]  # gpxpy is faster without
    import gpxpy

    result = analyse(track, TileFolder((terrain,)), load_config())
    text, page = track.read_text(encoding="utf-8"), out / PAGE_NAME
    pages = {
        "gpxpy": lambda: timed(lambda: gpxpy.parse(text)),
        "page": lambda: timed(lambda: write_page(result, page, DistanceUnit.KM)),
    }
    print_rows(in_turn(pages, repeats), {"page": PAGE_LIMIT})
    library = len(chart_library().encode())
    size_mb = (page.stat().st_size - library) / 1e6
    print(f"page without the chart library: {size_mb:.2f} MB (limit {PAGE_LIMIT_MB} MB)")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=9)
    options = parser.parse_args()
    ride = long_ride()
    print(f"{len(ride.track.time_unix_s)} points, {ride.truth.time_s[-1] / 60.0:.0f} min")
    with tempfile.TemporaryDirectory() as name:
        folder, terrain, out = Path(name), Path(name) / "terrain", Path(name) / "out"
        track = ride.write(folder)
        terrain.mkdir()
        ride.write_tile(terrain, 3)
        runs = {
            label: lambda arguments=arguments: run(arguments)
            for label, arguments in commands(track, terrain, out).items()
        }
        limits = {"--help": HELP_LIMIT, "report": REPORT_LIMIT}
        print_rows(in_turn(runs, options.repeats), limits)
        weigh_page(track, terrain, out, options.repeats)


if __name__ == "__main__":
    main()
