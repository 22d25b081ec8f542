"""How long a whole ride takes beside what other libraries take for its first step.

    OPENBLAS_NUM_THREADS=1 python -m benchmarks.beside [--points 5400 100000] [--repeat 5]

"report" is a track with its side files and a terrain tile that goes all the way to sections.csv,
legs.parquet and summary.json, the estimate included; "read" is the same track read alone. gpxpy
(without lxml, which is its faster way) or fitdecode beside them reads it alone in both. "terrain"
is a height for as many places, which SRTM.py is asked for one by one, which is all it offers. Each
is in a process of its own, on one thread, warm: the median CPU time of some runs after two that do
not count, and the most memory that the process ever held. Times hold for this machine and moment
only; the ratios carry over.

The ride is simulated, so invented: laps of one course, at 1 Hz, until it has enough points.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from tests.support.simulator import RecordedTrack, SimulatedRide, simulate

from benchmarks.terrain import wandering, write_tiles

STEM = "ride"
REST_S = 30.0  # between two laps
_CHILD = """
import json, os, statistics, sys, time
sys.modules["lxml"] = None  # gpxpy is faster without
who, folder, track, repeat = sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4])
if who == "report":
    from pathlib import Path
    from wherewatt.config import load_config
    from wherewatt.pipeline import analyse
    from wherewatt.report.files import write_tables
    from wherewatt.terrain.tiles import TileFolder
    from itertools import count
    tiles, config, runs = TileFolder((Path(folder),)), load_config(), count()
    def work():  # into a folder that is new, as that of a ride is
        out = Path(folder) / f"{track}.out" / str(next(runs))
        write_tables(analyse(Path(track), tiles, config), out)
elif who == "read":
    from wherewatt.ingest import read_track
    def work():
        read_track(track)
elif who == "terrain":
    import numpy
    from pathlib import Path
    from wherewatt.terrain.tiles import TileFolder
    tiles, places = TileFolder((Path(folder) / "hgt",)), numpy.load(track)
    def work():
        tiles.survey(*places)
elif who == "gpxpy":
    import gpxpy
    def work():
        with open(track, encoding="utf-8") as file:
            gpxpy.parse(file)
elif who == "fitdecode":
    import fitdecode
    def work():
        with fitdecode.FitReader(track) as fit:
            for _ in fit:
                pass
else:
    import numpy, srtm
    data = srtm.get_data(local_cache_dir=folder + "/hgt")
    pairs = numpy.load(track).T.tolist()
    def work():
        for pair in pairs:
            data.get_elevation(*pair)
times = []
for _ in range(repeat + 2):
    before = time.process_time()
    work()
    times.append(time.process_time() - before)
with open("/proc/self/status") as status:  # getrusage would count the parent's memory too
    peak = next(float(line.split()[1]) for line in status if line.startswith("VmHWM")) / 1024.0
print(json.dumps([statistics.median(times[2:]), peak]))
"""


def measure(who: str, folder: Path, track: Path, repeat: int) -> tuple[float, float]:
    """CPU seconds and peak megabytes of one library on one track."""
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, who, str(folder), str(track), str(repeat)],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    seconds, megabytes = json.loads(done.stdout)
    return seconds, megabytes


def laps(once: RecordedTrack, points: int) -> RecordedTrack:
    """A recorded track ridden again and again, cut to a number of points."""
    size = len(once.time_unix_s)
    index = np.arange(points) % size
    lap = np.arange(points) // size
    track = once.take(index)
    lap_s = once.time_unix_s[-1] - once.time_unix_s[0] + REST_S
    return replace(
        track,
        time_unix_s=track.time_unix_s + lap * lap_s,
        distance_m=track.distance_m + lap * once.distance_m[-1],
        piece=track.piece + lap * (int(once.piece[-1]) + 1),
    )


def long_ride(points: int) -> SimulatedRide:
    """Laps of a simulated ride; what was called out is of the first."""
    ride = simulate("commuter", 4, recorder="computer", sampling_s=1.0)
    return replace(ride, track=laps(ride.track, points))


def main() -> int:
    """Print a row for each track and question."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, nargs="+", default=[5_400, 100_000])
    parser.add_argument("--repeat", type=int, default=5)
    options = parser.parse_args()
    print(
        f"{'':14}{'points':>8}{'CPU, ms':>10}{'MB':>6}   {'peer':10}{'CPU, ms':>10}{'MB':>6}  of it"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_tiles(folder, 1201)  # SRTM.py gives heights only of tiles in its list
        for points in options.points:
            compare(folder, points, options.repeat)
    return 0


def compare(folder: Path, points: int, repeat: int) -> None:
    """Print the rows for tracks of a number of points."""
    ride = long_ride(points)
    ride.write_tile(folder)
    for kind, peer in (("gpx", "gpxpy"), ("fit", "fitdecode")):
        track = ride.write(folder, stem=STEM, format=kind)
        beside = measure(peer, folder, track, max(2, repeat // 2))
        for what in ("report", "read"):
            row = f"{what} {kind.upper()}", points, measure(what, folder, track, repeat)
            print_row(*row, peer, beside)
        track.unlink()
    places = folder / "places.npy"
    np.save(places, wandering(points))
    ours = measure("terrain", folder, places, repeat)
    print_row("terrain", points, ours, "SRTM.py", measure("SRTM.py", folder, places, repeat))


def print_row(
    what: str, points: int, ours: tuple[float, float], peer: str, beside: tuple[float, float]
) -> None:
    """One row: CPU seconds and megabytes of both, and what part of the peer's time ours is."""
    (seconds, megabytes), (their_s, their_mb) = ours, beside
    print(
        f"{what:14}{points:8}{1e3 * seconds:10.1f}{megabytes:6.0f}   "
        f"{peer:10}{1e3 * their_s:10.1f}{their_mb:6.0f}{seconds / their_s:7.3f}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
