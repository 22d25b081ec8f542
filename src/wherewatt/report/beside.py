"""Writes files in a process beside this one, while the rest of a report is made.

The libraries for pictures and for Parquet take as long to load as a ride to analyse. What goes to
that process is plain: it need not load what an analysis does.
"""

from __future__ import annotations

import contextlib
import gc
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from importlib import import_module
from pathlib import Path
from typing import IO

from wherewatt.report.column_files import FileColumns, write_csv, write_parquet
from wherewatt.report.profile_data import ProfileData

Content = ProfileData | FileColumns
Contents = Mapping[Path, Content]

Write = Callable[[Contents], AbstractContextManager[None]]
"""Writes files: each is whole, or OSError is raised, when the block ends."""

_LIBRARIES = ("pyarrow.csv", "pyarrow.parquet", "wherewatt.report.figures")

# Finds the package where this process has found it.
_COMMAND = (
    "import sys; sys.path[:] = sys.argv[1:]; from wherewatt.report.beside import serve; serve()"
)


@contextlib.contextmanager
def write_here(contents: Contents) -> Iterator[None]:
    """Write in this process, after the block."""
    yield
    for path, content in contents.items():
        _write(content, path)


@contextlib.contextmanager
def write_beside() -> Iterator[Write]:
    """Write in a process that runs as long as the block; in this one where that gains nothing."""
    if _processors() < 2:
        yield write_here
        return
    command = [sys.executable, "-c", _COMMAND, *sys.path]
    try:
        process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
    except OSError:  # no room for another process
        yield write_here
        return
    assert process.stdin is not None
    assert process.stdout is not None
    to, back = process.stdin, process.stdout
    try:
        yield lambda contents: _written(to, back, contents)
    finally:
        process.kill()
        back.close()
        with contextlib.suppress(OSError):  # something was still to be sent
            to.close()
        process.wait()


@contextlib.contextmanager
def _written(to: IO[bytes], back: IO[bytes], contents: Contents) -> Iterator[None]:
    with contextlib.suppress(OSError):  # it has ended, which its answer will tell
        pickle.dump({path.absolute(): content for path, content in contents.items()}, to)
        to.flush()
    try:
        yield
    finally:
        # Even if the block failed: nobody may write to these paths from then on.
        answer = _answer(back)
    if isinstance(answer, OSError):
        raise answer
    if not answer:  # this process can do it, or say why it cannot be done
        with write_here(contents):
            pass


def _answer(back: IO[bytes]) -> bool | OSError:
    try:
        answer: bool | OSError = pickle.load(back)
    except (EOFError, OSError, pickle.UnpicklingError):
        return False
    return answer


def serve() -> None:
    """Write what comes on standard input, and answer on standard output, until that ends."""
    gc.disable()  # loading leaves no garbage, and to look for it takes a fourth of the time
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asked decides what a Ctrl-C means
    for library in _LIBRARIES:
        import_module(library)
    gc.freeze()
    gc.enable()
    while True:
        try:
            contents: Contents = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        answer: bool | OSError = True
        try:
            for path, content in contents.items():
                _write(content, path)
        except OSError as error:
            answer = error
        except Exception:  # the other process will meet it too, and tell of it
            answer = False
        pickle.dump(answer, sys.stdout.buffer)
        sys.stdout.buffer.flush()


def _write(content: Content, path: Path) -> None:
    if isinstance(content, FileColumns):
        write = write_csv if path.suffix == ".csv" else write_parquet
        write(content, path)
        return
    from wherewatt.report.figures import write_profile_png  # slow to load

    write_profile_png(content, path)


def _processors() -> int:
    """How many of them this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
