"""The folder of results: each appears whole or not at all, whenever the program is killed.

A result is made in a workshop, ``.wherewatt/making/…/new``. Moving the workshop to
``.wherewatt/placing`` is the moment from which it counts. What is left are moves: an earlier result
goes to ``…/old``, the new one takes its place, and what else lay there (a user's own notes) comes
back. `Shelf.recover` does those that a kill left undone; doing them twice does no harm.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from wherewatt.errors import OutputError
from wherewatt.inbox.stamp import files_of

STAGING_NAME = ".wherewatt"
NEW_NAME = "new"
_OLD_PREFIX = "old"
_GOES_TO = "goes_to"


@dataclass(frozen=True, slots=True)
class Shelf:
    """The folder of results.

    Parameters
    ----------
    out : the folder; an absolute path.
    """

    out: Path

    @property
    def staging(self) -> Path:
        """Where results are made."""
        return self.out / STAGING_NAME

    @property
    def _making(self) -> Path:
        return self.staging / "making"

    @property
    def _placing(self) -> Path:
        return self.staging / "placing"

    def open_workshop(self, result: str) -> Path:
        """Make a new folder for the making of a result.

        Raises
        ------
        OutputError
            If that cannot be done.
        """
        try:
            self._making.mkdir(parents=True, exist_ok=True)
            workshop = Path(tempfile.mkdtemp(prefix="ride.", dir=self._making))
            (workshop / _GOES_TO).write_bytes(os.fsencode(result))
            sync_file(workshop / _GOES_TO)
        except OSError as error:
            raise _unwritten(self.out, error) from error
        return workshop

    def drop(self, workshop: Path) -> None:
        """Remove a workshop and what was made in it."""
        shutil.rmtree(workshop, ignore_errors=True)

    def place(self, workshop: Path) -> None:
        """Put the result of a workshop where it belongs; what was there is replaced.

        Raises
        ------
        OutputError
            If that cannot be done; what was there stays.
        """
        ready = self._placing / workshop.name
        try:
            self._placing.mkdir(exist_ok=True)
            workshop.rename(ready)
            self._finish(ready)
        except OSError as error:
            self.drop(workshop)
            self._give_up(ready)
            raise _unwritten(self.out, error) from error

    def recover(self) -> frozenset[str]:
        """Finish or remove what an earlier watch left; call it only while no worker runs.

        Returns
        -------
        frozenset of str
            The results that were in the making when it ended.
        """
        for ready in _folders(self._placing):
            try:
                self._finish(ready)
            except OSError:
                self._give_up(ready)
        unmade = frozenset(filter(None, map(_goes_to, _folders(self._making))))
        shutil.rmtree(self._making, ignore_errors=True)
        return unmade

    def clear(self) -> None:
        """Remove the staging folder if nothing is in it."""
        for folder in (self._making, self._placing, self.staging):
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()

    def _finish(self, ready: Path) -> None:
        """Do the moves that are left of a result that counts."""
        target, new = self.out / _goes_to(ready), ready / NEW_NAME
        if new.is_dir():
            if os.path.lexists(target):
                if not target.is_dir():
                    raise NotADirectoryError(errno.ENOTDIR, f"{target.name} is there as a file")
                target.rename(ready / f"{_OLD_PREFIX}{len(_olds(ready))}")
            target.parent.mkdir(parents=True, exist_ok=True)
            new.rename(target)
        for old in _olds(ready):
            _bring_back(old, target)
        self._discard(ready)

    def _give_up(self, ready: Path) -> None:
        """Undo what was done to place a result that could not take its place."""
        target, olds = self.out / _goes_to(ready), _olds(ready)
        if olds and not target.exists():
            olds[-1].rename(target)
        if (ready / NEW_NAME).exists():
            self._discard(ready)

    def _discard(self, ready: Path) -> None:
        """Remove a folder that counts, so that a kill cannot leave half of it counting."""
        no_more = self._making / ready.name
        with contextlib.suppress(FileNotFoundError):
            ready.rename(no_more)
        self.drop(no_more)


def sync_file(path: Path) -> None:
    """Have a file or folder written to the disk, so that it outlives a power cut.

    Raises
    ------
    OSError
        If that cannot be done.
    """
    if path.is_dir() and os.name == "nt":  # there a folder cannot be opened
        return
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _bring_back(old: Path, target: Path) -> None:
    """Move what is not part of an earlier result into the folder of the new one."""
    theirs = files_of(old)
    for path in sorted(old.iterdir()):
        if path.name not in theirs and not os.path.lexists(target / path.name):
            path.rename(target / path.name)


def _goes_to(workshop: Path) -> str:
    try:
        return os.fsdecode((workshop / _GOES_TO).read_bytes())
    except OSError:
        return ""


def _olds(ready: Path) -> list[Path]:
    return sorted(ready.glob(f"{_OLD_PREFIX}*"))


def _folders(parent: Path) -> list[Path]:
    return sorted(path for path in parent.iterdir() if path.is_dir()) if parent.is_dir() else []


def _unwritten(folder: Path, error: OSError) -> OutputError:
    reason = error.strerror or " ".join(str(error).split())
    return OutputError(f"{folder}: the result cannot be written: {reason}")
