"""Word from the system that something in a folder has changed."""

from __future__ import annotations

import multiprocessing
import threading
from multiprocessing.connection import Connection
from pathlib import Path

from wherewatt.inbox.problems import PROBLEM_ENDING

_CHANGED = ""


class Events:
    """A thread that listens; what it hears only says that it is time to look.

    Parameters
    ----------
    folder : the watched folder.
    out : the folder of results, of which nothing is heard.
    """

    def __init__(self, folder: Path, out: Path) -> None:
        self.pipe, self._theirs = multiprocessing.Pipe(duplex=False)
        self._stop = threading.Event()
        arguments = (self._theirs, folder, out, self._stop)
        self._thread = threading.Thread(target=_listen, args=arguments, daemon=True)
        self._thread.start()

    def take(self) -> str:
        """What `pipe` announced: "" for a change, else why there will be no more events."""
        text = _CHANGED
        while not text and self.pipe.poll():
            text = self.pipe.recv()
        return text

    def end(self) -> None:
        """Listen no more."""
        self._stop.set()
        self._thread.join(timeout=2.0)


def _listen(pipe: Connection, folder: Path, out: Path, stop: threading.Event) -> None:
    from watchfiles import watch

    def concerns(_change: object, path: str) -> bool:
        name = Path(path).name
        return not (
            Path(path).is_relative_to(out) or name.startswith(".") or name.endswith(PROBLEM_ENDING)
        )

    reason = "they have ended"
    # Only if a subfolder may not be read: this passes over other errors, too.
    for pass_over_denied in (False, True):
        try:
            for _changes in watch(
                folder,
                watch_filter=concerns,
                debounce=400,
                rust_timeout=500,
                stop_event=stop,
                raise_interrupt=False,
                ignore_permission_denied=pass_over_denied,
            ):
                pipe.send(_CHANGED)
            break
        except PermissionError:
            continue
        except Exception as error:  # it must be known, whatever a system's events end with
            reason = " ".join(str(error).split()) or type(error).__name__
            break
    if not stop.is_set():
        pipe.send(reason)
