"""A folder on this machine or in an object store, and the one way in which files get into it."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from wherewatt.errors import InputError, OutputError, Problem
from wherewatt.whole_file import opened_whole, write_whole

_NEEDED = ("fsspec", "duckdb", "threadpoolctl")


@dataclass(frozen=True, slots=True)
class Store:
    """A folder of files; names in it are relative, with "/" between their parts.

    Parameters
    ----------
    url : as the user wrote it.
    files : the fsspec file system it lies on.
    root : its path there.
    """

    url: str
    files: Any
    root: str

    @property
    def is_local(self) -> bool:
        """Whether it lies on this machine."""
        return "file" in _protocols(self.files)

    @property
    def full_url(self) -> str:
        """Its URL, or its path on this machine, with nothing left to guess."""
        return self.root if self.is_local else f"{_protocols(self.files)[0]}://{self.root}"

    def listing(self, under: str = "") -> Mapping[str, Mapping[str, Any]]:
        """Every file, with what the file system tells of it, as it is now.

        Raises
        ------
        InputError
            If the folder cannot be read.
        """
        top = self._path(under) if under else self.root
        self.files.invalidate_cache()
        try:
            found = self.files.find(top, detail=True)
        except OSError as error:
            raise InputError(
                Problem(self.url, "", _reason(error), "a folder that can be read")
            ) from error
        cut = len(self.root.rstrip("/")) + 1
        return {path[cut:]: info for path, info in found.items() if info.get("type") == "file"}

    def exists(self) -> bool:
        """Whether there is such a folder."""
        return bool(self.files.isdir(self.root))

    def read(self, name: str, most_bytes: int | None = None) -> bytes:
        """A file, or its beginning.

        Raises
        ------
        OSError
            If it is not there or cannot be read.
        """
        data: bytes = self.files.cat_file(self._path(name), end=most_bytes)
        return data

    def fetch(self, name: str, copy: Path) -> None:
        """Copy a file to this machine.

        Raises
        ------
        OSError
            If it is not there or cannot be read.
        """
        self.files.get_file(self._path(name), str(copy))

    def put(self, made: Path, name: str) -> None:
        """Put a file in place; it is whole or not there, and what was there before is replaced.

        Raises
        ------
        OutputError
            If that cannot be done.
        """
        with self._writing(name) as path:
            if self.is_local:
                with made.open("rb") as source, opened_whole(Path(path)) as target:
                    shutil.copyfileobj(source, target)
            else:  # an object appears when all of it has arrived
                self.files.put_file(str(made), path)

    def put_text(self, text: str, name: str) -> None:
        """Put a small text file in place, likewise.

        Raises
        ------
        OutputError
            If that cannot be done.
        """
        with self._writing(name) as path:
            if self.is_local:
                write_whole(Path(path), text.encode())
            else:
                self.files.pipe_file(path, text.encode())

    def move(self, name: str, to: str) -> None:
        """Move a file; what lay at its new place is replaced.

        Raises
        ------
        OutputError
            If that cannot be done.
        """
        with self._writing(to) as path:
            self.files.mv(self._path(name), path)

    def remove(self, name: str) -> None:
        """Remove a file or a folder, if it is there.

        Raises
        ------
        OutputError
            If that cannot be done.
        """
        with self._changing(name), contextlib.suppress(FileNotFoundError):
            self.files.rm(self._path(name), recursive=True)

    def _path(self, name: str) -> str:
        return f"{self.root.rstrip('/')}/{name}"

    @contextlib.contextmanager
    def _writing(self, name: str) -> Iterator[str]:
        """The path of a file that is to be written, its folder made."""
        path = self._path(name)
        with self._changing(name):
            self.files.makedirs(self.files._parent(path), exist_ok=True)
            yield path

    @contextlib.contextmanager
    def _changing(self, name: str) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            where = f"{self.url.rstrip('/')}/{name}"
            raise OutputError(f"{where}: cannot be written: {_reason(error)}") from error


def open_store(url: str) -> Store:
    """Take a path or a URL that fsspec knows ("s3://…", "gs://…", "memory://…") for a folder.

    Raises
    ------
    InputError
        If no installed library knows such URLs.
    """
    require_archive()
    import fsspec

    try:
        files, root = fsspec.url_to_fs(url)
    except (ImportError, ValueError) as error:
        found, mend = " ".join(str(error).split()), "check the URL, or install what it names"
        raise InputError(Problem(url, "", found, "a folder or its URL", mend)) from error
    return Store(url, files, root)


def require_archive() -> None:
    """Check that the libraries of an archive are installed.

    Raises
    ------
    InputError
        If one is not.
    """
    missing = [name for name in _NEEDED if find_spec(name) is None]
    if missing:
        found = f"no {', '.join(missing)}"
        mend = "pip install 'wherewatt[archive]'"
        raise InputError(Problem("archive", "", found, "the libraries of an archive", mend))


def _protocols(files: Any) -> tuple[str, ...]:
    protocol = files.protocol
    return (protocol,) if isinstance(protocol, str) else tuple(protocol)


def _reason(error: OSError) -> str:
    return error.strerror or " ".join(str(error).split()) or type(error).__name__
