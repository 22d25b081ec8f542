"""One process at work per folder.

The lock is the system's, on an open file, so that it ends with the process however that ends: a
lock file that a killed process left is simply taken over. What stands in it is for people.
"""

from __future__ import annotations

import contextlib
import errno
import os
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

from wherewatt.errors import InputError, Problem

LOCK_NAME = ".wherewatt.lock"

# The locked byte lies beyond what is written, since where locks bind it could not be read.
_LOCKED_BYTE = 1 << 20
_HELD_BY_ANOTHER = (errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK)


@contextlib.contextmanager
def only_user_of(folder: Path, work: str) -> Iterator[None]:
    """Hold the lock of a folder; where the system has no locks, or nothing can be written, none.

    Parameters
    ----------
    folder : the folder.
    work : what is done there: "watch", "archive".

    Raises
    ------
    InputError
        If another process holds it.
    """
    path = folder / LOCK_NAME
    try:
        descriptor = _acquire(path)
    except BlockingIOError:
        mend = "let that one end first, or take another folder"
        expected = f"a folder for this {work} alone"
        raise InputError(Problem(str(folder), "", _holder(path), expected, mend)) from None
    except OSError:
        yield
        return
    try:
        os.ftruncate(descriptor, 0)
        os.write(descriptor, f"{work} (process {os.getpid()} on {socket.gethostname()})\n".encode())
        yield
    finally:
        with contextlib.suppress(OSError):  # an open file cannot be removed everywhere
            path.unlink()
        os.close(descriptor)


def _acquire(path: Path) -> int:
    """Open and lock a file; another may remove it between the two, so it is made sure of."""
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _lock(descriptor)
            if path.exists() and os.path.samestat(path.stat(), os.fstat(descriptor)):
                return descriptor
        except OSError as error:
            os.close(descriptor)
            if error.errno in _HELD_BY_ANOTHER:
                raise BlockingIOError from error
            raise
        os.close(descriptor)


def _lock(descriptor: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        os.lseek(descriptor, 0, os.SEEK_SET)
    else:
        import fcntl

        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _holder(path: Path) -> str:
    with contextlib.suppress(OSError, ValueError):
        if text := path.read_text(encoding="utf-8").strip():
            return f"a running {text}"
    return "another process at work there"
