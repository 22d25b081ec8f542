"""The watch with a light stand-in for the work: what is made, when, and what is said of it."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.inbox.standin import RESULT_NAMES, Ears, StandIn, right_result
from wherewatt.errors import InputError, OutputError
from wherewatt.inbox.settings import WatchSettings
from wherewatt.inbox.teller import Status
from wherewatt.inbox.watch import watch_folder

TOP = Path(__file__).parents[2]
QUICK = WatchSettings(settle_s=0.05, patience_s=0.2, first_retry_s=0.1, once=True)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    path = tmp_path / "drop"
    path.mkdir()
    return path


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / "journal"
    path.touch()
    return path


def put(folder: Path, **texts: str) -> None:
    for stem, text in texts.items():
        (folder / f"{stem}.gpx").write_text(text, encoding="utf-8")


def begun(journal: Path) -> list[str]:
    return sorted(line.removesuffix(".gpx") for line in journal.read_text().splitlines())


def is_right(track: Path, out: Path) -> bool:
    results = [out / track.stem / name for name in RESULT_NAMES]
    return all(path.exists() and path.read_text() == right_result(track) for path in results)


def test_bad_ones_do_not_cost_the_others(folder: Path, journal: Path) -> None:
    put(folder, a="good", b="unusable", c="defect", d="fatal", e="cut short", f="good too")
    put(folder, g="full disk")
    ears, out = Ears(), folder / "results"
    status = watch_folder(folder, out, StandIn(journal), QUICK, ears)
    assert status == Status(done=3, waiting=0, unusable=4)
    assert "the result cannot be written: No space left on device" in ears.lines
    assert all(is_right(folder / f"{name}.gpx", out) for name in "aef")
    notes = {
        path.name: path.read_text(encoding="utf-8").splitlines()[0]
        for path in folder.glob("*.problem.txt")
    }
    assert notes == {
        "b.gpx.problem.txt": "b.gpx: line 1: found unusable, expected a ride; mend it",
        "c.gpx.problem.txt": "c.gpx: found ZeroDivisionError: division by zero, expected no such "
        "error; this is a defect of wherewatt: please report it with what 'report --debug' prints",
        "d.gpx.problem.txt": "d.gpx: found that its process was ended by the system, perhaps for "
        "want of memory, expected a ride that can be analysed",
    }
    assert set(notes.values()) <= set(ears.lines)
    assert {path.name for path in out.iterdir()} == {"a", "e", "f"}


def test_started_again_it_does_only_what_is_missing(folder: Path, journal: Path) -> None:
    out = folder.parent / "results"
    put(folder, a="one", b="two", c="three", d="unusable")
    watch_folder(folder, out, StandIn(journal), QUICK, Ears())
    journal.write_text("")
    (folder / "a.toml").write_text("added", encoding="utf-8")
    (out / "b" / RESULT_NAMES[0]).unlink()
    put(folder, d="mended")
    (folder / "c.gpx").rename(folder / "renamed.gpx")
    watch_folder(folder, out, StandIn(journal), QUICK, Ears())
    assert begun(journal) == ["a", "b", "d", "renamed"]
    assert all(is_right(folder / f"{name}.gpx", out) for name in ("a", "b", "d", "renamed"))
    assert (out / "c").exists()  # the result of a track that is gone stays
    assert not list(folder.glob("*.problem.txt"))
    journal.write_text("")
    watch_folder(folder, out, StandIn(journal), QUICK, Ears())
    assert begun(journal) == []
    watch_folder(folder, out, StandIn(journal, key="other settings"), QUICK, Ears())
    assert begun(journal) == ["a", "b", "d", "renamed"]


def test_several_jobs_at_once(folder: Path, journal: Path) -> None:
    put(folder, **{f"ride{number}": "slow" for number in range(4)})
    settings = WatchSettings(settle_s=0.05, jobs=4, rides_per_process=1, once=True)
    began_s = time.monotonic()
    status = watch_folder(folder, folder / "results", StandIn(journal), settings, Ears())
    assert status.done == 4
    assert len(begun(journal)) == 4
    assert time.monotonic() - began_s < 30.0


def test_two_tracks_of_one_name(folder: Path, journal: Path) -> None:
    put(folder, a="gpx")
    (folder / "a.fit").write_text("fit", encoding="utf-8")
    status = watch_folder(folder, folder / "results", StandIn(journal), QUICK, Ears())
    assert status == Status(done=1, waiting=0, unusable=1)
    (note,) = folder.glob("*.problem.txt")
    text = note.read_text(encoding="utf-8")
    assert text.startswith("a.gpx: found a second track of one name (after a.fit)")
    (folder / "a.fit").unlink()
    status = watch_folder(folder, folder / "results", StandIn(journal), QUICK, Ears())
    assert status == Status(done=1)
    assert not note.exists()


def test_checks_before_it_starts(folder: Path, journal: Path) -> None:
    work = StandIn(journal)
    with pytest.raises(InputError, match="no such folder"):
        watch_folder(folder / "missing", folder / "results", work, QUICK, Ears())
    for out in (folder, folder.parent):
        with pytest.raises(InputError, match="expected a folder for results alone"):
            watch_folder(folder, out, work, QUICK, Ears())
    with pytest.raises(OutputError, match="cannot be written to"):
        watch_folder(folder, journal / "results", work, QUICK, Ears())


class Running:
    """A watch in a process of its own."""

    def __init__(self, folder: Path, journal: Path) -> None:
        self.folder, self.out, self.journal = folder, folder / "results", journal
        arguments = [folder, self.out, journal, "0.3", "0"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.inbox.standin", *map(str, arguments)],
            cwd=TOP,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def until(self, is_so: Callable[[], bool]) -> None:
        until_s = time.monotonic() + 20.0
        while not is_so():
            assert time.monotonic() < until_s, "it does not happen"
            assert self.process.poll() is None, self.process.communicate()[0]
            time.sleep(0.02)

    def end(self, by: int = signal.SIGINT) -> tuple[int, str]:
        self.process.send_signal(by)
        said, _ = self.process.communicate(timeout=20)
        return self.process.returncode, said


@pytest.fixture
def running(folder: Path, journal: Path) -> Iterator[Running]:
    watch = Running(folder, journal)
    yield watch
    watch.process.kill()
    watch.process.wait()
    if watch.process.stdout:
        watch.process.stdout.close()


def test_slow_copy_and_later_changes(running: Running) -> None:
    track = running.folder / "a.gpx"
    with track.open("w", encoding="utf-8") as file:
        for _ in range(12):  # pieces that come sooner than the settle time, for longer than it
            file.write("piece\n")
            file.flush()
            time.sleep(0.1)
            assert begun(running.journal) == []
    running.until(lambda: is_right(track, running.out))
    (running.folder / "a.readings.csv").write_text("at,battery_pct\n", encoding="utf-8")
    running.until(lambda: is_right(track, running.out))
    put(running.folder, a="unusable")
    note = running.folder / "a.gpx.problem.txt"
    running.until(note.exists)
    put(running.folder, a="mended")
    running.until(lambda: is_right(track, running.out) and not note.exists())
    time.sleep(1.0)  # its own files must not wake it
    assert begun(running.journal)[0:3] == ["a", "a", "a"]
    tries_of_the_bad_one = len(begun(running.journal)) - 3
    assert tries_of_the_bad_one in (1, 2)  # at once, and again when patience has ended
    put(running.folder, b="unusable")
    running.until((running.folder / "b.gpx.problem.txt").exists)
    (running.folder / "b.gpx").unlink()
    running.until(lambda: not (running.folder / "b.gpx.problem.txt").exists())


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM])
def test_interrupted_it_finishes_the_ride_in_work(by: int, running: Running) -> None:
    put(running.folder, a="slow", b="slow")
    running.until(lambda: begun(running.journal) == ["a"])
    code, said = running.end(by)
    assert code == 0
    assert "Ending; first finishing a.gpx" in said
    assert "Traceback" not in said
    assert is_right(running.folder / "a.gpx", running.out)
    assert begun(running.journal) == ["a"]
    assert sorted(path.name for path in running.out.iterdir()) == ["a"]


def test_interrupted_twice_it_drops_it(running: Running) -> None:
    put(running.folder, a="slow")
    running.until(lambda: begun(running.journal) == ["a"])
    running.process.send_signal(signal.SIGINT)
    time.sleep(0.2)
    code, said = running.end()
    assert code == 0
    assert "Traceback" not in said
    assert list(running.out.iterdir()) == []


def test_full_disk_is_tried_again(running: Running) -> None:
    put(running.folder, a="full disk", b="good")
    running.until(lambda: is_right(running.folder / "b.gpx", running.out))
    running.until(lambda: "a" in begun(running.journal))
    (running.journal.parent / "space").touch()
    running.until(lambda: is_right(running.folder / "a.gpx", running.out))
    assert not list(running.folder.glob("*.problem.txt"))
    _code, said = running.end()
    complaint = "the result cannot be written: No space left on device; trying again later"
    assert said.count(complaint) == 1


def test_second_watch_is_refused(running: Running, journal: Path) -> None:
    put(running.folder, a="good")
    running.until(lambda: is_right(running.folder / "a.gpx", running.out))
    with pytest.raises(InputError, match=f"process {running.process.pid} on "):
        watch_folder(running.folder, running.out, StandIn(journal), QUICK, Ears())
    other = running.folder.parent / "other"
    other.mkdir()
    with pytest.raises(
        InputError, match=r"found a running watch .*, expected a folder for this watch alone"
    ):
        watch_folder(other, running.out, StandIn(journal), QUICK, Ears())


def test_a_killed_watch_leaves_nobody_at_work(running: Running) -> None:
    put(running.folder, a="slow")
    running.until(lambda: begun(running.journal) == ["a"])
    running.process.kill()
    running.process.wait()
    time.sleep(1.5)  # longer than the work takes
    assert not list(running.folder.rglob(RESULT_NAMES[0]))
