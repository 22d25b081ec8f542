"""A watch is killed again and again while tracks are dropped: ``python -m tests.inbox.kill_drill``.

At the end every result must be there and right, none made anew once it was there, and nothing left
over. Prints what it saw; the test of it is shorter.
"""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from tests.inbox.standin import RESULT_NAMES, right_result
from wherewatt.inbox.stamp import STAMP_NAME

TOP = Path(__file__).parents[2]
SETTLE_S = 0.3
LONGEST_S = 300.0


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


class _Watch:
    """A watch in a process of its own."""

    def __init__(self, folder: Path, out: Path, journal: Path, pause_s: float) -> None:
        self.out = out
        arguments = [folder, out, journal, SETTLE_S, pause_s]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.inbox.standin", *map(str, arguments)],
            cwd=TOP,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def kill_at_random(self, numbers: random.Random, finished: Collection[str]) -> None:
        """Kill it while it starts (one in four), or within a second of its first new result."""
        after_start_s, after_result_s = numbers.uniform(0.0, 1.5), numbers.uniform(0.0, 1.0)
        if numbers.random() < 0.25:
            time.sleep(after_start_s)
        else:
            until_s = time.monotonic() + 20.0
            while len(_finished(self.out)) <= len(finished) and time.monotonic() < until_s:
                time.sleep(0.01)
            time.sleep(after_result_s)
        self.process.kill()
        self.process.wait()

    def interrupt(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(timeout=30)


def run(tracks: int, kills: int, seed: int, *, pause_s: float = 0.0) -> Drill:
    """Drop tracks while a watch is killed; the numbers of the seed decide when and what."""
    began_s = time.monotonic()
    numbers = random.Random(seed)
    top = Path(tempfile.mkdtemp(prefix="drill."))
    try:
        return _run(top, tracks, kills, numbers, pause_s, began_s)
    finally:
        shutil.rmtree(top)


def _run(
    top: Path, tracks: int, kills: int, numbers: random.Random, pause_s: float, began_s: float
) -> Drill:
    folder, out, journal = top / "drop", top / "drop" / "results", top / "journal"
    folder.mkdir()
    journal.touch()
    contents = {f"ride{number:04}": numbers.randbytes(2000) for number in range(tracks)}
    dropping = threading.Thread(target=_drop, args=(folder, contents, numbers.random()))
    dropping.start()
    finished: dict[str, tuple[int, int]] = {}
    again: list[str] = []
    killed_at: list[int] = []
    for _ in range(kills):
        lines = len(_journal(journal))
        watch = _Watch(folder, out, journal, pause_s)
        watch.kill_at_random(numbers, finished)
        time.sleep(0.1)  # its worker ends with it, but not in the same instant
        again += [name for name in _journal(journal)[lines:] if name in finished]
        finished |= _finished(out)
        killed_at.append(len(finished))
    dropping.join()
    lines = len(_journal(journal))
    watch = _Watch(folder, out, journal, pause_s)
    while len(_finished(out)) < tracks and time.monotonic() < began_s + LONGEST_S:
        time.sleep(0.5)
    time.sleep(4 * SETTLE_S)  # for what it might still do, and should not
    code = watch.interrupt()
    again += [name for name in _journal(journal)[lines:] if name in finished]
    now = _finished(out)
    return Drill(
        tracks=tracks,
        kills=kills,
        killed_at=tuple(killed_at),
        begun=len(_journal(journal)),
        begun_again_though_finished=tuple(again),
        rewritten=tuple(name for name, state in finished.items() if now.get(name) != state),
        wrong_or_missing=tuple(_wrong(folder, out, contents)) + (("exit",) if code else ()),
        left_over=tuple(_left_over(folder, out, contents)),
        notes=len(list(folder.glob("*.txt"))),
        seconds=time.monotonic() - began_s,
    )


def _drop(folder: Path, contents: dict[str, bytes], seed: float) -> None:
    """Most at once, some piece by piece; some with a side file that comes first, or is growing."""
    numbers = random.Random(seed)
    slow = numbers.sample(sorted(contents), max(2, len(contents) // 100))
    for name, content in contents.items():
        if name not in slow:
            (folder / f"{name}.gpx").write_bytes(content)
    for name in slow:
        (folder / f"{name}.readings.csv").write_text("at,battery_pct\n", encoding="utf-8")
        with (folder / f"{name}.gpx").open("wb") as file:
            for start in range(0, 2000, 500):
                file.write(contents[name][start : start + 500])
                file.flush()
                time.sleep(SETTLE_S / 3)


def _journal(journal: Path) -> list[str]:
    return [Path(line).stem for line in journal.read_text(encoding="utf-8").splitlines()]


def _finished(out: Path) -> dict[str, tuple[int, int]]:
    """Inode and time of the stamp of each result that is in its place."""
    found = {}
    for stamp in out.glob(f"*/{STAMP_NAME}"):
        state = stamp.stat()
        found[stamp.parent.name] = (state.st_ino, state.st_mtime_ns)
    return found


def _wrong(folder: Path, out: Path, contents: dict[str, bytes]) -> list[str]:
    """Rides whose result is missing or not that of the whole files."""
    wrong = []
    for name, content in contents.items():
        track = folder / f"{name}.gpx"
        results = [out / name / result for result in RESULT_NAMES]
        texts = [path.read_text(encoding="utf-8") for path in results if path.is_file()]
        if track.read_bytes() != content or texts != [right_result(track)] * len(results):
            wrong.append(name)
    return wrong


def _left_over(folder: Path, out: Path, contents: dict[str, bytes]) -> list[str]:
    """Whatever is neither input nor a file of a result."""
    results = {out / name / file for name in contents for file in (*RESULT_NAMES, STAMP_NAME)}
    inputs = {folder / f"{name}{end}" for name in contents for end in (".gpx", ".readings.csv")}
    every = {path for path in folder.rglob("*") if not path.is_dir()}
    empty = {path for path in out.iterdir() if path.name not in contents}
    return sorted(str(path) for path in (every - results - inputs) | empty)


def main() -> None:
    """The whole drill."""
    drill = run(1000, 20, seed=20_250, pause_s=0.01)
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
