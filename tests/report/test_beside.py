"""Files written by another process: the same ones, and its troubles cost nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from wherewatt.errors import OutputError
from wherewatt.report import beside
from wherewatt.report.beside import Contents, write_beside
from wherewatt.report.files import LEGS_NAME, PROFILE_NAME, SECTIONS_PARQUET_NAME, write_result
from wherewatt.report.profile_data import profile_data
from wherewatt.report.result import RideResult
from wherewatt.report.tables import legs_table
from wherewatt.units import DistanceUnit

NAMES = (LEGS_NAME, PROFILE_NAME, SECTIONS_PARQUET_NAME)
KM = DistanceUnit.KM


@pytest.fixture(scope="module")
def here(simulated_result: RideResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("here") / "ride"
    write_result(simulated_result, folder, KM)
    return folder


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[subprocess.Popen[bytes]]]:
    """The processes that were started, of a machine with two processors."""
    processes: list[subprocess.Popen[bytes]] = []
    start = subprocess.Popen

    def kept(*arguments: object, **keywords: object) -> subprocess.Popen[bytes]:
        processes.append(start(*arguments, **keywords))  # type: ignore[call-overload]
        return processes[-1]

    monkeypatch.setattr(subprocess, "Popen", kept)
    monkeypatch.setattr(beside, "_processors", lambda: 2)
    yield processes
    assert all(process.poll() is not None for process in processes)


def same(folder: Path, here: Path) -> bool:
    return all((folder / name).read_bytes() == (here / name).read_bytes() for name in NAMES)


def test_the_same_files_ride_after_ride(
    simulated_result: RideResult,
    here: Path,
    tmp_path: Path,
    started: list[subprocess.Popen[bytes]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Made there, since this process is kept from it."""
    monkeypatch.setattr(beside, "_write", pytest.fail)
    with write_beside() as slow:
        for name in "ab":
            write_result(simulated_result, tmp_path / name, KM, slow)
            assert same(tmp_path / name, here)
    assert len(started) == 1


def test_one_processor_writes_here(
    started: list[subprocess.Popen[bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(beside, "_processors", lambda: 1)
    with write_beside() as slow:
        assert slow is beside.write_here
    assert started == []


def test_a_process_that_was_ended_costs_nothing(
    simulated_result: RideResult,
    here: Path,
    tmp_path: Path,
    started: list[subprocess.Popen[bytes]],
) -> None:
    with write_beside() as slow:
        started[0].kill()
        started[0].wait()
        write_result(simulated_result, tmp_path / "ride", KM, slow)
    assert same(tmp_path / "ride", here)


def test_no_process_to_be_had(
    simulated_result: RideResult, here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(beside, "_processors", lambda: 2)
    monkeypatch.setattr(sys, "executable", str(tmp_path / "missing"))
    with write_beside() as slow:
        write_result(simulated_result, tmp_path / "ride", KM, slow)
    assert same(tmp_path / "ride", here)


def test_its_troubles_with_the_disk_are_told(
    simulated_result: RideResult, tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    contents: Contents = {
        tmp_path / "no folder" / LEGS_NAME: legs_table(simulated_result).for_parquet()
    }
    with write_beside() as slow, pytest.raises(FileNotFoundError), slow(contents):
        pass


def test_nothing_is_left_when_it_cannot_write(
    simulated_result: RideResult, tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    with write_beside() as slow:

        def astray(contents: Contents) -> AbstractContextManager[None]:
            return slow({tmp_path / "gone" / path.name: it for path, it in contents.items()})

        with pytest.raises(OutputError, match=r"^[^\n]*No such file or directory[^\n]*$"):
            write_result(simulated_result, tmp_path / "ride", KM, astray)
        assert list(tmp_path.iterdir()) == []
        write_result(simulated_result, tmp_path / "ride", KM, slow)  # it goes on after that


def test_a_failure_here_waits_for_it(
    simulated_result: RideResult, tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    """Nothing is written any more once the block has been left; the next answer is the next's."""
    data = profile_data(simulated_result, KM)
    with write_beside() as slow:
        with pytest.raises(ZeroDivisionError), slow({tmp_path / "a.png": data}):
            raise ZeroDivisionError
        assert (tmp_path / "a.png").stat().st_size > 10_000
        with slow({tmp_path / "b.png": data}):
            pass
        assert (tmp_path / "b.png").read_bytes() == (tmp_path / "a.png").read_bytes()


@pytest.mark.skipif(os.name == "nt", reason="a process there is interrupted otherwise")
def test_a_ctrl_c_does_not_end_it(
    simulated_result: RideResult, tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    contents: Contents = {tmp_path / LEGS_NAME: legs_table(simulated_result).for_parquet()}
    with write_beside() as slow:
        with slow(contents):  # by its answer it has begun to listen
            pass
        started[0].send_signal(signal.SIGINT)
        with slow(contents):
            pass
        assert started[0].poll() is None


def test_it_loads_nothing_of_an_analysis() -> None:
    code = (
        "import sys, wherewatt.report.beside, wherewatt.report.figures;"
        "sys.exit(any(name.startswith(('scipy', 'pandas', 'wherewatt.allocate'))"
        " for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
