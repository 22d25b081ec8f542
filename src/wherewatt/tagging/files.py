"""Versions of the files that the page changes, and writing them whole or not at all."""

from __future__ import annotations

import codecs
import contextlib
import hashlib
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from wherewatt.errors import OutputError, Problem, SideFileError, display_name
from wherewatt.ingest.sidefile import read_text

ABSENT = "absent"  # version of a file that is not there

_WIDE = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


class ChangedOnDisk(OutputError):
    """A file is no longer as it was when the page read it; nothing was written."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A file as it lay on disk at one moment.

    Parameters
    ----------
    path : where it lies, or would.
    data : its bytes; None if it is not there.
    """

    path: Path
    data: bytes | None

    @property
    def version(self) -> str:
        """Name of the content: its SHA-256, hexadecimal, or `ABSENT`."""
        return ABSENT if self.data is None else hashlib.sha256(self.data).hexdigest()

    @contextlib.contextmanager
    def as_file(self) -> Iterator[Path]:
        """A copy of its own, under its own name, for readers that want a file."""
        with tempfile.TemporaryDirectory(prefix="wherewatt-") as folder:
            copy = Path(folder, self.path.name)
            copy.write_bytes(self.data or b"")
            yield copy

    def text(self) -> str:
        """The text, with plain newlines; empty if the file is not there.

        Raises
        ------
        SideFileError
            If it is no text.
        """
        with self.as_file() as copy:
            return read_text(copy)

    def encoded(self, text: str) -> bytes:
        """Another text as this file would hold it: its encoding, its kind of newline."""
        data = self.data or b""
        if b"\r\n" in data or b"\r\0\n\0" in data or b"\0\r\0\n" in data:
            text = text.replace("\n", "\r\n")
        if data.startswith(_WIDE):
            return text.encode("utf-16")
        return text.encode("utf-8-sig" if data.startswith(codecs.BOM_UTF8) else "utf-8")


def take_snapshot(path: Path) -> Snapshot:
    """Read a file as it is now; a link is followed.

    Raises
    ------
    SideFileError
        If it is there but cannot be read.
    """
    path = path.resolve()
    try:
        return Snapshot(path, path.read_bytes())
    except FileNotFoundError:
        return Snapshot(path, None)
    except OSError as error:
        reason = error.strerror or str(error)
        raise SideFileError(Problem(display_name(path), "", reason, "a readable file")) from error


def refuse_changed(snapshot: Snapshot, seen: str) -> None:
    """End a change to a file that is no longer the version that was seen.

    Raises
    ------
    ChangedOnDisk
        If it is another version.
    """
    if snapshot.version != seen:
        raise ChangedOnDisk(f"{snapshot.path.name}: was changed on disk meanwhile; not written")


def write_unless_changed(path: Path, data: bytes, seen: str) -> None:
    """Replace a file by a new content, if it still is the version that was seen.

    The content is written beside it and moved into place, so the file is never half-written.

    Raises
    ------
    ChangedOnDisk
        If the file is another version now.
    OutputError
        If it cannot be written.
    """
    path = path.resolve()
    hidden = path.with_name(f".{path.name}.{secrets.token_hex(4)}.tmp")
    try:
        try:
            with hidden.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            with contextlib.suppress(FileNotFoundError):
                shutil.copymode(path, hidden)
            # As late as can be: what is saved after this moment would be lost.
            refuse_changed(take_snapshot(path), seen)
            os.replace(hidden, path)
        finally:
            hidden.unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror or error}") from error
