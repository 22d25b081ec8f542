"""Processes of this machine as an executor.

Each lane is one process with one piece of work at a time, so that a process that the system ends
costs that piece and no other. `concurrent.futures.ProcessPoolExecutor` would give up all that are
in work or waiting.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import shutil
import signal
import tempfile
import threading
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from multiprocessing.connection import Connection
from typing import Any, TypeVar

T = TypeVar("T")

# A fresh process: a copy of this one would inherit its threads' locks.
_CONTEXT = multiprocessing.get_context("spawn")
_MOST_TRIES = 100  # to remove a folder that is in use; a few do


class LaneEnded(BrokenExecutor):
    """A process was ended by the system while it had work."""


class _Lane:
    """A process, and the pipe to it."""

    def __init__(self, temporary: str) -> None:
        self._pipe, theirs = _CONTEXT.Pipe()
        self._process = _CONTEXT.Process(target=_serve, args=(theirs, temporary), daemon=True)
        self._process.start()
        theirs.close()
        self._ending = threading.Lock()

    def call(self, function: Callable[..., T], *args: Any, **kwargs: Any) -> T:
        """Have a function called there."""
        try:
            self._pipe.send((function, args, kwargs))
            has_worked, value = self._pipe.recv()
        except (EOFError, OSError) as error:
            raise LaneEnded("a worker process was ended by the system") from error
        if has_worked:
            return value
        raise value

    def end(self) -> None:
        """End the process, whatever it does; both who waits for it and who ends it all may ask."""
        with self._ending:
            self._process.kill()
            self._process.join()
            self._pipe.close()


class Lanes(Executor):
    """An executor of processes, each of which may end without harm to the others.

    Parameters
    ----------
    count : how many processes; they are started when first needed.
    """

    def __init__(self, count: int) -> None:
        self._threads = ThreadPoolExecutor(count, "lane", initializer=_block_interruptions)
        self._own = threading.local()
        self._lanes: set[_Lane] = set()
        # What ended processes leave behind goes with this folder.
        self._temporary = tempfile.TemporaryDirectory(
            prefix="wherewatt.", ignore_cleanup_errors=True
        )
        self._is_ending = False

    def submit(self, function: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """Have a function called by the next free process."""
        return self._threads.submit(self._run, function, *args, **kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes; without waiting, in the middle of their work."""
        if not wait:
            self._is_ending = True
            self._threads.shutdown(wait=False, cancel_futures=True)
            for lane in tuple(self._lanes):
                lane.end()
        self._threads.shutdown(cancel_futures=cancel_futures)
        for lane in tuple(self._lanes):
            lane.end()
        self._lanes.clear()
        self._temporary.cleanup()

    def _run(self, function: Callable[..., T], *args: Any, **kwargs: Any) -> T:
        if self._is_ending:
            raise LaneEnded("the workers are being ended")
        lane: _Lane | None = getattr(self._own, "lane", None)
        if lane is None:
            lane = self._own.lane = _Lane(self._temporary.name)
            self._lanes.add(lane)
        try:
            return lane.call(function, *args, **kwargs)
        except LaneEnded:
            self._own.lane = None
            self._lanes.discard(lane)
            lane.end()
            raise


def _block_interruptions() -> None:
    """Processes begun from this thread never hear of a Ctrl-C: the main one decides."""
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})


def _serve(pipe: Connection, temporary: str) -> None:
    # for systems that cannot block it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    tempfile.tempdir = temporary
    threading.Thread(target=_end_with_parent, args=(temporary,), daemon=True).start()
    with contextlib.suppress(EOFError, OSError):  # the main process has gone
        while True:
            function, args, kwargs = pipe.recv()
            try:
                answer = (True, function(*args, **kwargs))
            except Exception as error:
                answer = (False, _sendable(error))
            pipe.send(answer)
    _remove(temporary)


def _sendable(error: Exception) -> Exception:
    """The error, or one like it if it cannot be sent."""
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:  # anything may go wrong in another's class
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error


def _end_with_parent(temporary: str) -> None:
    """End at once if the main process was killed: the next one must find nobody at work."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        _remove(temporary)
        os._exit(1)


def _remove(folder: str) -> None:
    """Remove a folder, though work that goes on may put a file there meanwhile."""
    for _ in range(_MOST_TRIES):
        shutil.rmtree(folder, ignore_errors=True)
        if not os.path.exists(folder):
            return
