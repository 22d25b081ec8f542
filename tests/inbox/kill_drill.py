"""A watch is killed again and again while tracks are dropped.

    python -m tests.inbox.kill_drill [--real] [--tracks N] [--kills N]

At the end every result must be there and right, none made anew once it was there, and nothing left
over. Results are light stand-ins, or with ``--real`` reports of small simulated rides, each of them
compared byte for byte with one made alone; that takes half an hour. Prints what it saw; the test of
it is shorter.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from tests.inbox.drill_kinds import KINDS, LIGHT, Kind
from wherewatt.inbox.stamp import STAMP_NAME

TOP = Path(__file__).parents[2]
SETTLE_S = 0.3


@dataclass(frozen=True)
class Drill:
    """What a drill saw."""

    tracks: int
    kills: int
    killed_at: tuple[int, ...]
    begun: int
    begun_again_though_finished: tuple[str, ...]
    rewritten: tuple[str, ...]
    wrong_or_missing: tuple[str, ...]
    left_over: tuple[str, ...]
    notes: int
    seconds: float

    @property
    def is_good(self) -> bool:
        return not (
            self.begun_again_though_finished
            or self.rewritten
            or self.wrong_or_missing
            or self.left_over
            or self.notes
        )


@dataclass(frozen=True)
class _Ground:
    """Where a drill takes place, and what is dropped there."""

    kind: Kind
    folder: Path
    out: Path
    journal: Path
    contents: dict[str, bytes]

    @property
    def idle(self) -> Path:
        """Is there once a watch has dealt with all there is."""
        return self.journal.with_name("idle")

    def finished(self) -> dict[str, tuple[int, int]]:
        """Inode and time of the stamp of each result that is in its place."""
        found = {}
        for stamp in self.out.glob(f"*/{STAMP_NAME}"):
            state = stamp.stat()
            found[stamp.parent.name] = (state.st_ino, state.st_mtime_ns)
        return found

    def begun(self) -> list[str]:
        """Names of the results that were begun, in order."""
        return [Path(line).stem for line in self.journal.read_text(encoding="utf-8").splitlines()]

    def drop(self, seed: float) -> None:
        """Most at once, some piece by piece; some with a side file that comes first."""
        numbers = random.Random(seed)
        slow = numbers.sample(sorted(self.contents), max(2, len(self.contents) // 100))
        for name, content in self.contents.items():
            if name not in slow:
                (self.folder / f"{name}.gpx").write_bytes(content)
        for name in slow:
            side = self.folder / f"{name}.readings.csv"
            side.write_text(self.kind.side_text, encoding="utf-8")
            content = self.contents[name]
            piece = -(-len(content) // 4)
            with (self.folder / f"{name}.gpx").open("wb") as file:
                for start in range(0, len(content), piece):
                    file.write(content[start : start + piece])
                    file.flush()
                    time.sleep(SETTLE_S / 3)

    def wrong(self) -> list[str]:
        """Rides whose result is missing or not that of the whole files."""
        return [
            name
            for name, content in self.contents.items()
            if (self.folder / f"{name}.gpx").read_bytes() != content
            or not self.kind.is_right(self.folder / f"{name}.gpx", self.out / name)
        ]

    def left_over(self) -> list[str]:
        """Whatever is neither input nor a file of a result."""
        names = (*self.kind.result_names, STAMP_NAME)
        results = {self.out / name / file for name in self.contents for file in names}
        inputs = {
            self.folder / f"{name}{end}"
            for name in self.contents
            for end in (".gpx", ".readings.csv")
        }
        every = {path for path in self.folder.rglob("*") if not path.is_dir()}
        empty = {path for path in self.out.iterdir() if path.name not in self.contents}
        return sorted(str(path) for path in (every - results - inputs) | empty)


class _Watch:
    """A watch in a process of its own."""

    def __init__(self, ground: _Ground, pause_s: float) -> None:
        self.ground = ground
        kind = next(name for name, kind in KINDS.items() if kind is ground.kind)
        arguments = [kind, ground.folder, ground.out, ground.journal, SETTLE_S, pause_s]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.inbox.drill_kinds", *map(str, arguments)],
            cwd=TOP,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def kill_at_random(self, numbers: random.Random, finished: int, most: int) -> None:
        """Kill it while it starts (one in four), or within a second of some new results."""
        start_s, after_s = numbers.uniform(0.0, self.ground.kind.start_s), numbers.uniform(0.0, 1.0)
        wanted = min(len(self.ground.contents), finished + numbers.randint(1, most))
        if numbers.random() < 0.25:
            time.sleep(start_s)
        else:
            until_s = time.monotonic() + self.ground.kind.patience_s
            while len(self.ground.finished()) < wanted and time.monotonic() < until_s:
                time.sleep(0.01)
            time.sleep(after_s)
        self.process.kill()
        self.process.wait()

    def interrupt(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(timeout=60)


def run(tracks: int, kills: int, seed: int, *, kind: Kind = LIGHT, pause_s: float = 0.0) -> Drill:
    """Drop tracks while a watch is killed; the numbers of the seed decide when and what."""
    numbers = random.Random(seed)
    top = Path(tempfile.mkdtemp(prefix="drill."))
    try:
        folder = top / "drop"
        folder.mkdir()
        (top / "journal").touch()
        contents = kind.tracks(tracks, numbers)
        ground = _Ground(kind, folder, folder / "results", top / "journal", contents)
        return _run(ground, kills, numbers, pause_s)
    finally:
        shutil.rmtree(top)


def _run(ground: _Ground, kills: int, numbers: random.Random, pause_s: float) -> Drill:
    began_s = time.monotonic()
    tracks = len(ground.contents)
    dropping = threading.Thread(target=ground.drop, args=(numbers.random(),))
    dropping.start()
    finished: dict[str, tuple[int, int]] = {}
    again: list[str] = []
    killed_at: list[int] = []
    for _ in range(kills):
        lines = len(ground.begun())
        watch = _Watch(ground, pause_s)
        most = max(1, round(ground.kind.kills_spread * 2 * tracks / kills))
        watch.kill_at_random(numbers, len(finished), most)
        time.sleep(0.1)  # its worker ends with it, but not in the same instant
        again += [name for name in ground.begun()[lines:] if name in finished]
        finished |= ground.finished()
        killed_at.append(len(finished))
    dropping.join()
    lines = len(ground.begun())
    ground.idle.unlink(missing_ok=True)
    watch = _Watch(ground, pause_s)
    until_s = time.monotonic() + ground.kind.longest_s
    # Idle alone may come between two drops; results alone may be there before it has begun.
    while time.monotonic() < until_s and not (
        ground.idle.exists() and len(ground.finished()) == tracks
    ):
        time.sleep(0.5)
    time.sleep(4 * SETTLE_S)  # for what it might still do, and should not
    code = watch.interrupt()
    again += [name for name in ground.begun()[lines:] if name in finished]
    seconds, now = time.monotonic() - began_s, ground.finished()
    return Drill(
        tracks=tracks,
        kills=kills,
        killed_at=tuple(killed_at),
        begun=len(ground.begun()),
        begun_again_though_finished=tuple(again),
        rewritten=tuple(name for name, state in finished.items() if now.get(name) != state),
        wrong_or_missing=tuple(ground.wrong()) + (("exit",) if code else ()),
        left_over=tuple(ground.left_over()),
        notes=len(list(ground.folder.glob("*.txt"))),
        seconds=seconds,
    )


def main() -> None:
    """The whole drill."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--real", action="store_true", help="reports instead of stand-ins")
    parser.add_argument("--tracks", type=int, default=1000)
    parser.add_argument("--kills", type=int, default=20)
    options = parser.parse_args()
    # A shell that starts this in the background has it, and so the watch, ignore a Ctrl-C.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    kind = KINDS["real" if options.real else "light"]
    drill = run(options.tracks, options.kills, seed=20_250, kind=kind, pause_s=0.01)
    print(f"{drill.tracks} tracks, {drill.kills} kills, {drill.seconds:.0f} s")
    print("results there at each kill:", *drill.killed_at)
    print(f"results begun: {drill.begun}")
    print("begun again though finished:", len(drill.begun_again_though_finished))
    print("finished ones rewritten:", len(drill.rewritten))
    print("wrong or missing:", len(drill.wrong_or_missing), *drill.wrong_or_missing[:5])
    print("left over:", len(drill.left_over), *drill.left_over[:5])
    print("notes of problems:", drill.notes)
    sys.exit(0 if drill.is_good else 1)


if __name__ == "__main__":
    main()
