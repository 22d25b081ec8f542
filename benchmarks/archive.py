"""How an archive grows: rides a second, CPU and memory, by number of rides and of workers.

    OPENBLAS_NUM_THREADS=1 python -m benchmarks.archive [--rides 10 100 1000] [--folder DIR]

The rides are simulated, so invented: sixty are drawn, of two owners, and written again and again
under other names. Each archive is made with one worker and with two; what one worker alone takes
is the measure of the other. Starting a worker is counted apart: it happens once. Memory is the
most that a worker ever held. At the end an archive is run again with nothing to do, and with one
side file changed, and is asked the ready questions; and what a million such rides a day would take
is reckoned from the largest run.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future, wait
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from tests.support.simulator import simulate

from wherewatt.archive.crew import process_crew
from wherewatt.archive.pool import pooled
from wherewatt.archive.query import open_archive
from wherewatt.archive.questions import QUESTIONS
from wherewatt.archive.run import archive_rides
from wherewatt.archive.settings import archive_settings
from wherewatt.config import load_config

DRAWN = 60
CHARACTERS = ("commuter", "city", "hilly", "trail", "windy")
LONG_AGO_S = 1_700_000_000
A_DAY = 1_000_000  # rides
BUSY = 0.7  # of a day that workers are at work: the rest is for peaks, restarts and the like


@dataclass(frozen=True)
class Run:
    """What making an archive took.

    Parameters
    ----------
    wall_s : from the first ride to the last, workers at hand.
    cpu_s : of all workers, their start left out.
    peak_mb : most memory that a worker held.
    """

    wall_s: float
    cpu_s: float
    peak_mb: float


class Metered(Executor):
    """An executor whose workers write down what they use."""

    def __init__(self, inner: Executor, log: Path) -> None:
        self.inner, self.log = inner, log

    def submit(self, function: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return self.inner.submit(metered, self.log, function, *args, **kwargs)


def metered(log: Path, function: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    """Call a function; a line of CPU time and memory goes to a file."""
    before = time.process_time()
    try:
        return function(*args, **kwargs)
    finally:
        peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        with log.open("a", encoding="utf-8") as file:
            file.write(f"{time.process_time() - before} {peak_kb}\n")


def warm_up(_: int) -> None:
    """Have a worker import what it needs."""
    import wherewatt.archive.part_work  # noqa: F401

    time.sleep(1.0)  # so that every worker gets one


def write_rides(folder: Path, count: int) -> None:
    """Write rides under as many names; the contents of their tracks differ by their names."""
    drawn = folder.parent / "drawn"
    if not drawn.exists():
        for number in range(DRAWN):
            character = CHARACTERS[number % len(CHARACTERS)]
            simulate(character, 900 + number, garage=number % 2).write(drawn, stem=f"{number:02}")
    for number in range(count):
        stem = f"{number % DRAWN:02}"
        into = folder / f"{number // 250:03}"
        into.mkdir(parents=True, exist_ok=True)
        for path in drawn.glob(f"{stem}.*"):
            copy = into / path.name.replace(stem, f"ride{number:06}", 1)
            data = path.read_bytes()
            copy.write_bytes(data.replace(b"</gpx>", b"<!-- %d --></gpx>" % number))
            os.utime(copy, (LONG_AGO_S, LONG_AGO_S))


def make(source: Path, out: Path, workers: int) -> Run:
    """Make an archive anew."""
    shutil.rmtree(out, ignore_errors=True)
    settings = archive_settings(load_config())
    log = out.parent / "usage"
    log.unlink(missing_ok=True)
    with process_crew(workers) as crew:
        wait([crew.executor.submit(warm_up, number) for number in range(workers)])
        began_s = time.perf_counter()
        counted = replace(crew, executor=Metered(crew.executor, log))
        summary = archive_rides(str(source), str(out), settings, counted)
        wall_s = time.perf_counter() - began_s
    if summary.failed:
        raise AssertionError(summary.failed)
    lines = [tuple(map(float, line.split())) for line in log.read_text().splitlines()]
    return Run(wall_s, sum(cpu for cpu, _ in lines), max(peak for _, peak in lines) / 1024.0)


def again(source: Path, out: Path) -> tuple[float, int]:
    """Seconds that another run takes, and rides that it analyses."""
    settings = archive_settings(load_config())
    began_s = time.perf_counter()
    with process_crew(1) as crew:
        analysed = archive_rides(str(source), str(out), settings, crew).analysed
    return time.perf_counter() - began_s, analysed


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, nargs="+", default=[10, 100, 1000])
    parser.add_argument("--folder", type=Path, help="where to work; a temporary one by default")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        print("  rides  workers   wall, s  rides/s  CPU/ride, ms  peak, MB  files   MB  speed-up")
        for count in options.rides:
            source, out = folder / f"rides{count}", folder / f"archive{count}"
            write_rides(source, count)
            one = scale_line(source, out, count, 1, None)
            both = scale_line(source, out, count, 2, one)
            if count != max(options.rides):
                shutil.rmtree(source)
        print_questions(source, out)
        print_sheet(source, out, both, count)
    return 0


def scale_line(source: Path, out: Path, count: int, workers: int, one: Run | None) -> Run:
    """Make an archive and print what it took."""
    run = make(source, out, workers)
    files = list(out.rglob("*.parquet"))
    size_mb = sum(path.stat().st_size for path in files) / 1e6
    ratio = f"{one.wall_s / run.wall_s:9.2f}" if one else ""
    print(
        f"{count:7}{workers:9}{run.wall_s:10.1f}{count / run.wall_s:9.1f}"
        f"{1e3 * run.cpu_s / count:14.0f}{run.peak_mb:10.0f}{len(files):7}{size_mb:5.0f}{ratio}",
        flush=True,
    )
    return run


def print_sheet(source: Path, out: Path, run: Run, count: int) -> None:
    """Print what a million rides a day would take, each like the average of a run."""
    read_b, made_b = (
        sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / count
        for folder in (source, out)
    )
    files = sum(1 for path in source.rglob("*") if path.is_file()) / count
    cpu_s = run.cpu_s / count
    cores = A_DAY * cpu_s / (86_400.0 * BUSY)
    print(f"{A_DAY:,} rides a day, workers at work {100 * BUSY:.0f} % of the time:")
    print(f"  processor time {cpu_s:.3f} s a ride, {A_DAY * cpu_s / 3600:.0f} h a day")
    print(f"  cores {np.ceil(cores):.0f}, with {cores * run.peak_mb / 1000:.1f} GB of memory")
    print(f"  read {read_b / 1e3:.0f} kB a ride, {A_DAY * read_b / 1e9:.0f} GB a day")
    print(f"  requests to a store {A_DAY * files / 1e6:.1f} million a day")
    print(f"  written {made_b / 1e3:.0f} kB a ride, {A_DAY * made_b / 1e9:.0f} GB a day")
    print(f"  held after a year {365 * A_DAY * (read_b + made_b) / 1e12:.0f} TB, tracks included")


def print_questions(source: Path, out: Path) -> None:
    """Print how long the largest archive takes to be run again and asked."""
    seconds, analysed = again(source, out)
    print(f"run again, nothing to do: {seconds:.2f} s, {analysed} analysed")
    sheet = next(source.rglob("*.toml"))
    sheet.write_text(sheet.read_text(encoding="utf-8") + "\n# changed\n", encoding="utf-8")
    seconds, analysed = again(source, out)
    print(f"run again, one side file changed: {seconds:.2f} s, {analysed} analysed")
    with open_archive(str(out)) as archive:
        for question in QUESTIONS.values():
            began_s = time.perf_counter()
            rows = len(list(archive.ask(question.sql).rows))
            print(f"{question.says}: {time.perf_counter() - began_s:.2f} s, {rows} rows")
        ((vehicle,),) = archive.ask("SELECT min(vehicle) FROM rides").rows
    began_s = time.perf_counter()
    rides = pooled(str(out), vehicle, load_config()).rides
    print(f"pooled estimate of a vehicle: {time.perf_counter() - began_s:.2f} s, {rides} rides")


if __name__ == "__main__":
    sys.exit(main())
