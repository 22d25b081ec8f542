"""A process that makes one result at a time.

It is apart from the watch, so that what kills it (memory, a library) costs one ride and no more.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from multiprocessing.connection import Connection

from wherewatt.inbox.drops import Drop
from wherewatt.inbox.job import Job, Outcome, Work, do_job

# A fresh process: a copy of this one would inherit its threads' locks.
_CONTEXT = multiprocessing.get_context("spawn")


class Worker:
    """A process that makes results.

    Parameters
    ----------
    work : how they are made.
    """

    def __init__(self, work: Work) -> None:
        self.pipe, theirs = _CONTEXT.Pipe()
        self._process = _CONTEXT.Process(target=_serve, args=(theirs, work), daemon=True)
        with _without_interruptions():
            self._process.start()
        theirs.close()
        self.drop: Drop | None = None
        self.job: Job | None = None
        self.rides = 0

    def begin(self, drop: Drop, job: Job) -> None:
        """Give it a ride; it must have none in work."""
        self.drop, self.job = drop, job
        self.rides += 1
        with contextlib.suppress(OSError):  # it has died, which `take` will find
            self.pipe.send(job)

    @property
    def is_alive(self) -> bool:
        """Whether its process runs."""
        return self._process.is_alive()

    def take(self) -> Outcome | None:
        """The outcome that `pipe` announced; None if the process has died."""
        try:
            return self.pipe.recv()
        except (EOFError, OSError):
            return None

    def end(self) -> None:
        """End the process, whatever it does."""
        self.pipe.close()
        self._process.kill()
        self._process.join()


@contextlib.contextmanager
def _without_interruptions() -> Iterator[None]:
    """A process begun here never hears of a Ctrl-C: the watch decides what that means."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(pipe: Connection, work: Work) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # for systems that cannot block it
    threading.Thread(target=_end_with_parent, daemon=True).start()
    while True:
        try:
            job = pipe.recv()
        except EOFError:
            return
        pipe.send(do_job(work, job))


def _end_with_parent() -> None:
    """End at once if the watch was killed: the next one must find nobody at work."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
