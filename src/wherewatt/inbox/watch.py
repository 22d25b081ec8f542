"""Watching a folder from beginning to end: checks, locks, interruptions."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from pathlib import Path

from wherewatt.errors import InputError, OutputError, Problem
from wherewatt.inbox.job import Work
from wherewatt.inbox.settings import WatchSettings
from wherewatt.inbox.shelf import Shelf
from wherewatt.inbox.teller import Status, Teller
from wherewatt.inbox.watcher import Watcher
from wherewatt.lock import only_user_of


def watch_folder(
    folder: Path, out: Path, work: Work, settings: WatchSettings, teller: Teller
) -> Status:
    """Report what is put into a folder until interrupted, or once.

    Parameters
    ----------
    folder : the watched folder.
    out : the folder of results; may lie in the watched one.
    work : how a result is made.
    settings : how patient the watch is.
    teller : who is told what goes on.

    Returns
    -------
    Status
        Where the watch was at its end.

    Raises
    ------
    InputError
        If the folder is not there, lies in the folder of results, or is watched already.
    OutputError
        If nothing can be written to the folder of results.
    """
    folder, out = _checked(folder, out)
    shelf = Shelf(out)
    try:
        shelf.staging.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{out}: cannot be written to: {error.strerror}") from error
    with only_user_of(folder, "watch"), only_user_of(out, "watch"), _terminated_as_interrupted():
        watcher = Watcher(folder, shelf, work, settings, teller)
        try:
            watcher.run()
        except KeyboardInterrupt:
            with contextlib.suppress(KeyboardInterrupt):
                watcher.finish_work()
        finally:
            watcher.end()
    with contextlib.suppress(OSError):
        shelf.clear()
    return watcher.status


def _checked(folder: Path, out: Path) -> tuple[Path, Path]:
    """Both folders as absolute paths."""
    if not folder.is_dir():
        raise InputError(Problem(str(folder), "", "no such folder", "the folder to watch"))
    folder, out = folder.resolve(), out.resolve()
    if folder.is_relative_to(out):
        mend = "choose another --out; it may lie in the watched folder"
        found = f"the watched folder {folder.name} in it"
        raise InputError(Problem(str(out), "", found, "a folder for results alone", mend))
    return folder, out


@contextlib.contextmanager
def _terminated_as_interrupted() -> Iterator[None]:
    """A polite request to end, as by a service manager, is taken as a Ctrl-C."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
