"""Whoever does the work, and whatever becomes of them: the tables are the same."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor, wait
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from tests.archive.builders import (
    SETTINGS,
    Wrapped,
    age,
    archive,
    contents,
    copied,
    deadly,
    times,
)
from wherewatt.archive.cluster import cluster_crew
from wherewatt.archive.crew import Crew, process_crew
from wherewatt.archive.lanes import LaneEnded, Lanes
from wherewatt.archive.run import Progress, archive_rides
from wherewatt.errors import InputError

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no such signals there")


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    """Two worker processes on this machine's loopback, each with a nanny."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        yield cluster


@contextmanager
def through(crew: Crew) -> Iterator[Crew]:
    """The crew, with every call through `deadly`."""
    yield replace(crew, executor=Wrapped(crew.executor, deadly))


def test_processes_give_the_same_bytes(rides: Path, archived: Path, tmp_path: Path) -> None:
    with process_crew(2) as crew:
        summary = archive_rides(str(rides), str(tmp_path / "out"), SETTINGS, crew)
    assert (summary.analysed, summary.failed) == (5, {})
    assert contents(tmp_path / "out") == contents(archived)


def test_cluster_gives_the_same_bytes(
    cluster: LocalCluster, rides: Path, archived: Path, tmp_path: Path
) -> None:
    with cluster_crew(cluster.scheduler_address) as crew:
        assert crew.width() == 4
        summary = archive_rides(str(rides), str(tmp_path / "out"), SETTINGS, crew)
    assert (summary.analysed, summary.failed) == (5, {})
    assert contents(tmp_path / "out") == contents(archived)


def test_cluster_whose_worker_is_killed(
    cluster: LocalCluster, rides: Path, archived: Path, tmp_path: Path
) -> None:
    """Killed while it has work; its parts are made by the other, or by the one that follows it."""
    with Client(cluster, set_as_default=False) as client:
        workers = client.run(os.getpid)
    killed: list[int] = []

    def kill(done: Progress) -> None:
        if 0 < done.done < done.rides and not killed:
            killed.append(next(iter(workers.values())))
            os.kill(killed[0], signal.SIGKILL)

    with cluster_crew(cluster.scheduler_address) as crew:
        summary = archive_rides(str(rides), str(tmp_path / "out"), SETTINGS, crew, kill)
    assert killed
    assert (summary.rides, summary.failed) == (5, {})
    assert contents(tmp_path / "out") == contents(archived)


def test_cluster_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wherewatt.archive.cluster._ANSWER_S", 0.5)
    crew = cluster_crew("tcp://127.0.0.1:9")
    with pytest.raises(InputError, match="a running Dask scheduler"):
        crew.__enter__()


def test_cluster_of_another_version(cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wherewatt.archive.cluster.__version__", "99.0")
    crew = cluster_crew(cluster.scheduler_address)
    with pytest.raises(InputError, match=r"expected wherewatt 99\.0"):
        crew.__enter__()


@pytest.mark.parametrize("kind", ["processes", "cluster"])
def test_ride_that_ends_its_process(
    kind: str, cluster: LocalCluster, rides: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is listed as bad; the rides of its part, and all others, are not."""
    source = copied(rides, tmp_path / "rides")
    shutil.copy(source / "b" / "ride.gpx", source / "b" / "deadly.gpx")
    age(source)
    monkeypatch.setattr("wherewatt.archive.plan.most_rides", lambda _: 4)
    # Dask gives work whose worker ended to another, three times by default: that takes long.
    monkeypatch.setattr(cluster.scheduler, "allowed_failures", 0)
    crews = process_crew(2) if kind == "processes" else cluster_crew(cluster.scheduler_address)
    out = tmp_path / "out"
    with crews as crew, through(crew) as bad:
        summary = archive_rides(str(source), str(out), SETTINGS, bad)
    assert summary.rides == 6
    assert set(summary.failed) == {"b/deadly.gpx"}
    assert "ended by the system" in summary.failed["b/deadly.gpx"]
    # In another process it may do no harm: it is tried again.
    assert archive(source, out).failed == {}


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_ended_and_started_again(how: signal.Signals, rides: Path, tmp_path: Path) -> None:
    """The real thing, ended when it has made some parts: those are not made again."""
    many, out, temporary = (tmp_path / name for name in ("rides", "out", "tmp"))
    temporary.mkdir()
    for number in range(5):  # enough that it is ended before it is done
        copied(rides, many / str(number))
    command = [sys.executable, "-m", "wherewatt", "archive", str(many), "--out", str(out)]
    with subprocess.Popen(
        [*command, "--jobs", "1"], stderr=subprocess.PIPE, env=os.environ | {"TMPDIR": temporary}
    ) as process:
        until_s = time.monotonic() + 60.0
        while len(list(out.glob("_made/*.json"))) < 2 and time.monotonic() < until_s:
            time.sleep(0.005)
        process.send_signal(how)
        _, said = process.communicate()
    if how is signal.SIGINT:
        assert process.returncode == 130
        assert said == b"wherewatt: interrupted; what was finished is kept\n"
    until_s = time.monotonic() + 10.0  # its worker ends with it, but not in the same instant
    while any(temporary.iterdir()) and time.monotonic() < until_s:
        time.sleep(0.05)
    assert not any(temporary.iterdir())
    whole = {path.stem for path in out.glob("_made/*.json")}
    assert 2 <= len(whole) < 25  # a ride is a part of its own
    before = {name: when for name, when in times(out).items() if _part(name) in whole}
    assert archive(many, out).analysed == 25 - len(whole)
    assert before.items() <= times(out).items()
    archive(many, tmp_path / "whole")
    assert contents(out) == contents(tmp_path / "whole")
    assert not list(out.rglob("*.part"))


def _part(name: str) -> str:
    """Part that a file belongs to."""
    return Path(name).parent.name.removeprefix("part=")


def _fails() -> None:
    raise InputError


def _dies() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def test_lanes_are_an_executor() -> None:
    with Lanes(2) as lanes:
        assert isinstance(lanes, Executor)
        assert list(lanes.map(abs, [-1, 2, -3])) == [1, 2, 3]
        assert lanes.submit(os.getpid).result() != os.getpid()
        with pytest.raises(InputError):
            lanes.submit(_fails).result()


def test_a_process_that_ends_costs_its_own_work_alone() -> None:
    with Lanes(2) as lanes:
        futures = [lanes.submit(_dies if number == 3 else abs, *([] if number == 3 else [-number]))
                   for number in range(8)]  # fmt: skip
        wait(futures)
        with pytest.raises(LaneEnded):
            futures.pop(3).result()
        assert [future.result() for future in futures] == [0, 1, 2, 4, 5, 6, 7]


@pytest.mark.parametrize("_again", range(5))  # two threads end the same lane
def test_lanes_end_at_once_when_told(_again: int) -> None:
    lanes = Lanes(1)
    slow = lanes.submit(time.sleep, 60.0)
    waiting = lanes.submit(abs, -1)
    time.sleep(0.5)
    began_s = time.monotonic()
    lanes.shutdown(wait=False)
    assert time.monotonic() - began_s < 5.0
    with pytest.raises(LaneEnded):
        slow.result()
    assert waiting.cancelled()
