"""A work that is light and keeps a journal, and a watch that does it: for tests of the watch.

The result of a track is the hash of all its files. The journal gets a line when a result is begun.
"""

from __future__ import annotations

import hashlib
import os
import signal
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from wherewatt.errors import OutputError, Problem, TrackError
from wherewatt.inbox.job import Made
from wherewatt.inbox.settings import WatchSettings
from wherewatt.inbox.teller import Status
from wherewatt.inbox.watch import watch_folder
from wherewatt.ingest.recording import SIDE_ENDINGS

RESULT_NAMES = ("first.txt", "second.txt")


def right_result(track: Path) -> str:
    """What the result of a track must be."""
    stem = track.name.split(".")[0]
    names = [track.name, *(stem + ending for ending in SIDE_ENDINGS), "places.geojson"]
    files = [track.with_name(name) for name in names]
    digests = [hashlib.sha256(file.read_bytes()).hexdigest() for file in files if file.exists()]
    return " ".join(digests)


@dataclass(frozen=True)
class StandIn:
    """The work; see `wherewatt.inbox.job.Work`."""

    journal: Path
    pause_s: float = 0.0
    key: str = "stand-in"

    def __call__(self, track: Path, folder: Path) -> Made:
        with self.journal.open("a", encoding="utf-8") as journal:
            journal.write(f"{track.name}\n")
        data = track.read_bytes()
        if b"unusable" in data:
            raise TrackError(Problem(track.name, "line 1", "unusable", "a ride", "mend it"))
        if b"full disk" in data and not (self.journal.parent / "space").exists():
            raise OutputError("the result cannot be written: No space left on device")
        if b"defect" in data:
            raise ZeroDivisionError("division by zero")
        if b"fatal" in data:
            os.kill(os.getpid(), signal.SIGKILL)
        if b"slow" in data:
            time.sleep(1.0)
        folder.mkdir()
        (folder / RESULT_NAMES[0]).write_text(right_result(track), encoding="utf-8")
        time.sleep(self.pause_s)
        (folder / RESULT_NAMES[1]).write_text(right_result(track), encoding="utf-8")
        return Made("made", whole=b"cut short" not in data)


class Ears:
    """Keeps what it is told."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.last = Status()

    def line(self, text: str) -> None:
        self.lines.append(text)

    def status(self, status: Status) -> None:
        self.last = status


class Voice(Ears):
    """Says what it is told."""

    def line(self, text: str) -> None:
        print(text, flush=True)


def main() -> None:
    """Watch: folder, folder of results, journal, settle time [s], pause within a result [s]."""
    folder, out, journal = map(Path, sys.argv[1:4])
    settle_s, pause_s = map(float, sys.argv[4:6])
    settings = WatchSettings(
        settle_s=settle_s, patience_s=5 * settle_s, rescan_s=60.0, first_retry_s=settle_s
    )
    status = watch_folder(folder, out, StandIn(journal, pause_s), settings, Voice())
    print(status, flush=True)


if __name__ == "__main__":
    main()
