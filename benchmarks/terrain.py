"""How fast heights are sampled, against SRTM.py and rasterio, and which interpolation serves grade.

    python -m benchmarks.terrain [--points 100000] [--repeat 5] [--rides 3]

First a track of many points that wanders over an invented tile: CPU time of one thread, each
reader in a process of its own, all from files, nothing from the network. "cold" includes opening
the tile, "warm" does not; imports are in neither. SRTM.py is asked point by point, which is all it
offers; so is rasterio's `sample`. Times hold for this machine only; the ratios carry over. At posts
all three must give the same height.

Then the error of the grade over 100 m along simulated rides, against the open ground, for bilinear
interpolation and cubic convolution, on tiles with and without the errors that tiles have.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
from tests.support.simulator import CHARACTERS, simulate, terrain_m, to_plane
from tests.support.simulator.world import tile_error_m

from wherewatt.arrays import FloatArray, IntArray

TILE = "N46E007"  # SRTM.py gives heights only of tiles in its list
_CHILD = """
import json, statistics, sys, time
import numpy as np
who, folder, repeat = sys.argv[1], sys.argv[2], int(sys.argv[3])
latitude, longitude = np.load(folder + "/track.npy")
pairs = list(zip(latitude.tolist(), longitude.tolist()))
if who.startswith("wherewatt"):
    from pathlib import Path
    from wherewatt.terrain.tiles import TileFolder
    part = Path(folder) / who.removeprefix("wherewatt ")
    def opened():
        return TileFolder((part,))
    def sampled(tiles):
        return tiles.survey(latitude, longitude).height_m
    warm = latitude[:1], longitude[:1]
    opened().survey(*warm)  # imports
elif who == "SRTM.py":
    import srtm
    def opened():
        return srtm.get_data(local_cache_dir=folder + "/hgt")
    def sampled(data):
        ask = data.get_elevation
        return [ask(*pair) for pair in pairs]
else:
    import rasterio
    def opened():
        return rasterio.open(folder + "/tif/any.tif")
    def sampled(dataset):
        return [value[0] for value in dataset.sample([pair[::-1] for pair in pairs])]
def cpu(work):
    before = time.process_time()
    work()
    return time.process_time() - before
cold = [cpu(lambda: sampled(opened())) for _ in range(repeat)]
ready = opened()
heights = np.array(sampled(ready), dtype=float)
warm = [cpu(lambda: sampled(ready)) for _ in range(repeat)]
np.save(folder + "/heights.npy", heights)
print(json.dumps([statistics.median(cold), statistics.median(warm)]))
"""


def measure(who: str, folder: Path, repeat: int) -> tuple[float, float, FloatArray]:
    """CPU seconds cold and warm, and the heights."""
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, who, str(folder), str(repeat)],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    cold, warm = json.loads(done.stdout)
    return cold, warm, np.load(folder / "heights.npy")


def write_tiles(folder: Path, side: int) -> FloatArray:
    """One invented ground as .hgt and as GeoTIFF; returns its heights."""
    import rasterio

    rng = np.random.default_rng(1)
    row, column = np.mgrid[0:side, 0:side] * (1200.0 / (side - 1))
    heights = 900.0 + 400.0 * np.sin(row / 90.0) * np.cos(column / 70.0)
    heights = np.rint(heights + rng.normal(0.0, 2.0, heights.shape)).astype(np.int16)
    for name in ("hgt", "tif"):
        (folder / name).mkdir(exist_ok=True)
    hgt = folder / "hgt" / f"{TILE}.hgt"
    hgt.write_bytes(heights.astype(">i2").tobytes())
    with rasterio.open(hgt) as source:
        profile = {**source.profile, "driver": "GTiff", "compress": "deflate", "tiled": True}
        profile |= {"blockxsize": 256, "blockysize": 256}
        with rasterio.open(folder / "tif" / "any.tif", "w", **profile) as target:
            target.write(heights, 1)
    return heights.astype(float)


def wandering(points: int) -> FloatArray:
    """Latitudes and longitudes (2, points) some 5 m apart, within the tile."""
    turn = np.cumsum(np.random.default_rng(2).normal(0.0, 0.02, points))
    steps = np.cumsum(np.stack([np.cos(turn), np.sin(turn)]) * 4.5e-5, axis=1)
    folded = np.abs((steps + 0.5) % 1.8 - 0.9)  # turns back at the tile's edges
    return np.array([[46.05], [7.05]]) + folded


def compare_speed(points: int, repeat: int) -> None:
    """Print the table of times, and hold the heights at posts equal."""
    head = f"{points} points"
    print(f"{head:16}{'cold':>11}{'warm':>10}{'µs/point':>10}{'ratio cold':>12}{'warm':>7}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for side in (1201, 3601):
            tile = write_tiles(folder, side)
            np.save(folder / "track.npy", wandering(points))
            peer: tuple[float, float] | None = None
            for who in ("SRTM.py", "rasterio", "wherewatt hgt", "wherewatt tif"):
                few = max(1, repeat // 3) if who in ("SRTM.py", "rasterio") else 3 * repeat
                cold, warm, _ = measure(who, folder, few)
                peer = peer or (cold, warm)
                print(
                    f"{3600 // (side - 1)}″ {who:13}{cold:9.4f} s{warm:8.4f} s"
                    f"{1e6 * warm / points:10.3f}{peer[0] / cold:12.1f}{peer[1] / warm:7.1f}",
                    flush=True,
                )
            hold_posts_equal(folder, tile)


def hold_posts_equal(folder: Path, tile: FloatArray) -> None:
    """Compare all readers at places a hundredth of a post south-east of posts.

    Exactly at posts SRTM.py's rounding may give the neighbour.
    """
    span = tile.shape[0] - 1
    row, column = np.random.default_rng(3).integers(1, span - 1, (2, 2000))
    latitude, longitude = 47.0 - row / span, 7.0 + column / span
    inside = 0.01 / span
    for who, shift in (("SRTM.py", inside), ("rasterio", 0.0), ("wherewatt hgt", 0.0)):
        np.save(folder / "track.npy", [latitude - shift, longitude + shift])
        worst = float(np.max(np.abs(measure(who, folder, 1)[2] - tile[row, column])))
        print(f"   largest difference at 2000 posts, {who}: {worst:.1g} m")


Kernel = Callable[[FloatArray], FloatArray]


def linear(part: FloatArray) -> FloatArray:
    """Weights (4, n) of linear interpolation in the middle one of three steps."""
    return np.stack([np.zeros_like(part), 1.0 - part, part, np.zeros_like(part)])


def cubic_convolution(part: FloatArray) -> FloatArray:
    """Weights (4, n) of Keys 1981, IEEE Trans. ASSP 29:1153–1160, a = −1/2."""
    square, cube = part**2, part**3
    return 0.5 * np.stack(
        [
            -cube + 2.0 * square - part,
            3.0 * cube - 5.0 * square + 2.0,
            -3.0 * cube + 4.0 * square + part,
            cube - square,
        ]
    )


def convolved(tile: FloatArray, row: FloatArray, column: FloatArray, kernel: Kernel) -> FloatArray:
    """Heights by a separable kernel at places with four rows and columns of posts about them."""
    top, left = np.floor(row).astype(np.intp), np.floor(column).astype(np.intp)
    step: IntArray = np.arange(-1, 3)
    posts = tile[(top + step[:, None])[:, None], (left + step[:, None])[None]]
    return np.einsum("rcn,rn,cn->n", posts, kernel(row - top), kernel(column - left))


def island_tile(arc_seconds: int, *, errors: bool, whole: bool) -> FloatArray:
    """The simulator's tile (its middle; the rest is sea), with or without its flaws."""
    count = 3600 // arc_seconds + 1
    part = np.linspace(0.0, 1.0, count)
    rows = np.flatnonzero(np.abs(part - 0.5) < 0.14)
    columns = np.flatnonzero(np.abs(part - 0.5) < 0.19)
    tile = np.zeros((count, count))
    for block in np.array_split(rows, 20):
        place = np.meshgrid(45.0 - part[block], -30.0 + part[columns], indexing="ij")
        x_m, y_m = to_plane(*place)
        ground = terrain_m(x_m, y_m)
        flaw = np.where(ground > 0.5, tile_error_m(x_m, y_m), -ground) if errors else 0.0
        tile[block[0] : block[-1] + 1, columns[0] : columns[-1] + 1] = ground + flaw
    return np.rint(tile) if whole else tile


def grade_errors(
    tile: FloatArray, rides: int, characters: Iterable[str] = tuple(CHARACTERS)
) -> tuple[float, float]:
    """Root mean square errors of grade over 100 m [%]: bilinear, cubic convolution."""
    squares: list[list[FloatArray]] = [[], []]
    span = tile.shape[0] - 1
    for character in characters:
        for seed in range(1, rides + 1):
            truth = simulate(character, seed).truth
            moved = np.concatenate([[True], np.diff(truth.course_m) > 0.0])
            at_m = np.arange(0.0, truth.course_m[-1], 10.0)
            latitude, longitude = (
                np.interp(at_m, truth.course_m[moved], degrees[moved])
                for degrees in (truth.lat_deg, truth.lon_deg)
            )
            ground = terrain_m(*to_plane(latitude, longitude))
            place = (45.0 - latitude) * span, (longitude + 30.0) * span
            for square, kernel in zip(squares, (linear, cubic_convolution), strict=True):
                error = convolved(tile, *place, kernel) - ground
                square.append(np.square(error[10:] - error[:-10]))
    first, second = (float(np.sqrt(np.mean(np.concatenate(square)))) for square in squares)
    return first, second


def compare_grades(rides: int) -> None:
    """Print the error of grade of both interpolations on tiles with more and more flaws."""
    print(f"\n{'error of grade over 100 m':34}{'bilinear':>10}{'cubic':>9}{'ratio':>7}")
    for arc_seconds in (3, 1):
        for label, errors, whole in (
            ("the ground itself", False, False),
            ("the ground in whole metres", False, True),
            ("tile errors of 3 m", True, False),
            ("tile errors, in whole metres", True, True),
        ):
            plain, cubic = grade_errors(island_tile(arc_seconds, errors=errors, whole=whole), rides)
            row = f"{arc_seconds}″ {label}"
            print(f"{row:34}{plain:8.3f} %{cubic:7.3f} %{cubic / plain:7.2f}", flush=True)


def main() -> int:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=100_000)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--rides", type=int, default=3, help="of each of the six characters")
    options = parser.parse_args()
    compare_speed(options.points, options.repeat)
    compare_grades(options.rides)
    return 0


if __name__ == "__main__":
    sys.exit(main())
