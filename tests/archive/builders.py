"""Invented rides, and crews that behave badly: for tests of the archive."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

from tests.support.simulator import simulate
from wherewatt.archive import part_work
from wherewatt.archive.crew import Crew
from wherewatt.archive.run import Summary, archive_rides
from wherewatt.archive.settings import archive_settings
from wherewatt.config import load_config

RIDES = (("commuter", 31), ("hilly", 32), ("city", 33), ("commuter", 34), ("windy", 35))
VEHICLE = simulate("commuter", 31, garage=4).sheet.vehicle_name
SETTINGS = archive_settings(load_config())
LONG_AGO_S = 1_700_000_000


def write_rides(folder: Path) -> None:
    """Five rides of one owner in two folders, two of them of one name; not new to the eye."""
    for number, (character, seed) in enumerate(RIDES):
        ride = simulate(character, seed, garage=4, sampling_s=1.0)
        stem = "ride" if number < 2 else None
        ride.write(folder / "ab"[number % 2], stem=stem, metered=number < 3)
    age(folder)


def age(folder: Path) -> None:
    """Let files look as if they had been there for long."""
    for path in folder.rglob("*"):
        if path.is_file() and path.stat().st_mtime > LONG_AGO_S + 1e7:
            os.utime(path, (LONG_AGO_S, LONG_AGO_S))


def copied(rides: Path, to: Path) -> Path:
    """A copy of a folder, with the times of its files."""
    shutil.copytree(rides, to)
    return to


@contextmanager
def here():
    """A crew of one thread in this process."""
    with ThreadPoolExecutor(1) as executor:
        yield Crew(executor, lambda: 1)


def archive(source: Path | str, out: Path | str, **options: Any) -> Summary:
    """Make an archive in this process."""
    with here() as crew:
        return archive_rides(str(source), str(out), SETTINGS, crew, **options)


def contents(out: Path) -> dict[str, str]:
    """Hash of every file of an archive's tables, by name."""
    return {
        str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(out.rglob("*.parquet"))
    }


def times(out: Path) -> dict[str, int]:
    """When every file of an archive's tables was put there, by name [ns]."""
    return {
        str(path.relative_to(out)): path.stat().st_mtime_ns
        for path in sorted(out.rglob("*.parquet"))
    }


class Wrapped(Executor):
    """An executor that has everything called through a function."""

    def __init__(self, inner: Executor, through: Callable[..., Any]) -> None:
        self.inner, self.through = inner, through

    def submit(self, function: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return self.inner.submit(self.through, function, *args, **kwargs)


def deadly(function: Callable[..., Any], *args: Any) -> Any:
    """Call a function in a process that tracks named ``deadly…`` end."""
    real = part_work.analyse

    def analyse(track: Path, *rest: Any) -> Any:
        if track.name.startswith("deadly"):
            os.kill(os.getpid(), signal.SIGKILL)
        return real(track, *rest)

    with patch.object(part_work, "analyse", analyse):
        return function(*args)
