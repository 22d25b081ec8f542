"""How fast the readers are: ratios to gpxpy and fitdecode in the same run.

    python -m benchmarks.readers [--points 5400 100000 1000000] [--repeat 3]

Each reader runs in a process of its own, on one thread, from the path of a file to arrays: the
median CPU time of some runs after a warm-up, and the most memory that process ever held. Times
hold for this machine and moment only; the ratios carry over. gpxpy is measured in its faster
variant, without lxml. "mixed" is a FIT file in which every record is followed by a message of
another kind.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.support.track_files import write_fit_file, write_gpx_file

_CHILD = """
import json, statistics, sys, time
sys.modules["lxml"] = None  # gpxpy is faster without
reader, path, repeat = sys.argv[1], sys.argv[2], int(sys.argv[3])
if reader == "wherewatt":
    from wherewatt.ingest import read_track
    def read():
        return len(read_track(path))
elif reader == "gpxpy":
    import gpxpy
    def read():
        with open(path, encoding="utf-8") as file:
            gpx = gpxpy.parse(file)
        return sum(len(s.points) for t in gpx.tracks for s in t.segments)
else:
    import fitdecode
    def read():
        with fitdecode.FitReader(path) as fit:
            return sum(
                1 for f in fit if isinstance(f, fitdecode.FitDataMessage) and f.name == "record"
            )
times = []
points = 0
for turn in range(repeat + (repeat > 1)):
    before = time.process_time()
    points = read()
    times.append(time.process_time() - before)
times = times[1:] if repeat > 1 else times
with open("/proc/self/status") as status:  # getrusage would count the parent's memory too
    peak = next(float(line.split()[1]) for line in status if line.startswith("VmHWM")) / 1024.0
print(json.dumps({"s": statistics.median(times), "mb": peak, "points": points}))
"""


def measure(reader: str, path: Path, repeat: int) -> dict[str, float]:
    """CPU seconds, peak megabytes and points of one reader on one file."""
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, reader, str(path), str(repeat)],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    return dict(json.loads(done.stdout))


def main() -> int:
    """Print one row per file."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, nargs="+", default=[5_400, 100_000])
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    heading = f"{'file':14}{'points':>9}{'peer':>11}{'peer CPU':>11}{'ours':>10}{'ratio':>8}"
    print(f"{heading}{'peer memory':>13}{'ours':>9}{'share':>7}")
    with tempfile.TemporaryDirectory() as folder:
        for points in options.points:
            for kind, peer in (("gpx", "gpxpy"), ("fit", "fitdecode"), ("fit mixed", "fitdecode")):
                path = Path(folder) / f"track.{kind[:3]}"
                if kind == "gpx":
                    write_gpx_file(path, points)
                else:
                    write_fit_file(path, points, mixed="mixed" in kind)
                repeat = max(1, round(options.repeat * min(10.0, 30_000 / points)))
                other, ours = measure(peer, path, repeat), measure("wherewatt", path, 2 + repeat)
                if other["points"] != ours["points"]:
                    raise AssertionError(f"{kind}: {other['points']} and {ours['points']} points")
                print(
                    f"{kind:14}{points:9}{peer:>11}{other['s']:9.3f} s{ours['s']:8.4f} s"
                    f"{other['s'] / ours['s']:8.1f}{other['mb']:10.0f} MB{ours['mb']:6.0f} MB"
                    f"{ours['mb'] / other['mb']:7.2f}",
                    flush=True,
                )
    return 0


if __name__ == "__main__":
    sys.exit(main())
