"""Readers against damaged files: how many, how long, how much memory, and did any crash?

    python -m benchmarks.fuzz_readers [--inputs 200000] [--formats gpx fit tcx csv]

Each input is a small track of the simulator, written in the format and then changed at random
(tests/support/mutate.py); the same numbers give the same inputs. An input passes if reading it
ends in a track or in the project's own `TrackError`. Any other exception is printed with the
number that makes it again.
"""

from __future__ import annotations

import argparse
import gzip
import resource
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from tests.support.fuzz_seeds import seeds_of, tokens_of
from tests.support.mutate import mutate

from wherewatt.errors import TrackError
from wherewatt.ingest import read_track

FORMATS = ("gpx", "fit", "tcx", "csv")
_CHUNK = 2000


@dataclass
class Outcome:
    """What became of a run of inputs."""

    inputs: int = 0
    tracks: int = 0
    slowest_s: float = 0.0
    slowest: int = -1
    peak_mb: float = 0.0
    crashes: Counter[str] = field(default_factory=Counter)
    examples: dict[str, int] = field(default_factory=dict)

    def add(self, other: Outcome) -> None:
        """Take another run into account."""
        self.inputs += other.inputs
        self.tracks += other.tracks
        if other.slowest_s > self.slowest_s:
            self.slowest_s, self.slowest = other.slowest_s, other.slowest
        self.peak_mb = max(self.peak_mb, other.peak_mb)
        self.crashes.update(other.crashes)
        self.examples = {**other.examples, **self.examples}


def damaged(kind: str, number: int) -> bytes:
    """The damaged input of a number; every eighth is gzipped before or after the damage."""
    seeds = seeds_of(kind)
    whole = seeds[number % len(seeds)]
    if number % 8 == 7:
        if number % 16 == 7:
            return mutate(gzip.compress(whole, 1, mtime=0), number)
        return gzip.compress(mutate(whole, number, tokens=tokens_of(kind)), 1, mtime=0)
    return mutate(whole, number, changes=1 + number % 6, tokens=tokens_of(kind))


def read_range(kind: str, first: int, end: int) -> Outcome:
    """Read the damaged inputs of some numbers."""
    outcome = Outcome()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"input.{kind}"
        for number in range(first, end):
            path.write_bytes(damaged(kind, number))
            before = time.process_time()
            try:
                read_track(path)
                outcome.tracks += 1
            except TrackError:
                pass
            except Exception as error:  # what this program looks for
                name = f"{type(error).__name__}: {str(error)[:80]}"
                outcome.crashes[name] += 1
                outcome.examples.setdefault(name, number)
            took = time.process_time() - before
            if took > outcome.slowest_s:
                outcome.slowest_s, outcome.slowest = took, number
            outcome.inputs += 1
    outcome.peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return outcome


def main() -> int:
    """Print one row per format; exit code 1 if anything crashed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=200_000, help="of each format")
    parser.add_argument("--first", type=int, default=0, help="number of the first input")
    parser.add_argument("--formats", nargs="+", choices=FORMATS, default=FORMATS)
    options = parser.parse_args()
    crashed = False
    print(f"{'format':8}{'inputs':>9}{'tracks':>9}{'crashes':>9}{'slowest':>11}{'memory':>10}")
    for kind in options.formats:
        end = options.first + options.inputs
        starts = range(options.first, end, _CHUNK)
        total = Outcome()
        with ProcessPoolExecutor(max_workers=2) as pool:
            ends = [min(start + _CHUNK, end) for start in starts]
            for outcome in pool.map(read_range, [kind] * len(starts), starts, ends):
                total.add(outcome)
        print(
            f"{kind:8}{total.inputs:9}{total.tracks:9}{sum(total.crashes.values()):9}"
            f"{total.slowest_s * 1000:8.0f} ms{total.peak_mb:7.0f} MB",
            flush=True,
        )
        for name, count in total.crashes.most_common():
            print(f"    {count} × {name} (input {total.examples[name]})")
        crashed |= bool(total.crashes)
    return int(crashed)


if __name__ == "__main__":
    sys.exit(main())
