"""The bytes of a track file: from disk, out of gzip, and what format they are."""

from __future__ import annotations

import gzip
import hashlib
import io
import zlib
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import NoReturn

from wherewatt.errors import Problem, TrackError, display_name
from wherewatt.ingest.track import Note

# A week at 1 Hz with every extension stays far below; a gzip bomb does not.
MAX_BYTES = 1 << 30

_GZIP_MAGIC = b"\x1f\x8b"
_CHUNK_BYTES = 1 << 18
_BEFORE_MARKUP = b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n"  # byte-order marks, UTF-16 zeros, white space
_TEXT_CONTROLS = frozenset("\t\r\n")


class Format(Enum):
    """What the bytes of a track file are."""

    FIT = "FIT"
    XML = "XML"


@dataclass(frozen=True, slots=True)
class Source:
    """A track file in memory.

    Parameters
    ----------
    path : where it lies.
    sha256 : hash of its bytes as on disk, hexadecimal.
    data : its bytes, inflated if it was gzipped.
    notes : what was odd about them.
    """

    path: Path
    sha256: str
    data: bytes
    notes: tuple[Note, ...] = ()


def refuse(path: Path, found: str, expected: str, *, place: str = "", mend: str = "") -> NoReturn:
    """End the reading of a track.

    Raises
    ------
    TrackError
        Always, with one problem.
    """
    raise TrackError(Problem(display_name(path), place, found, expected, mend))


def read_source(path: Path) -> Source:
    """Read a track file and inflate it if it is gzipped, whatever its name.

    Raises
    ------
    TrackError
        If the file cannot be read, or is larger than `MAX_BYTES`, inflated or not.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        refuse(path, getattr(error, "strerror", None) or str(error), "a readable track file")
    if len(raw) > MAX_BYTES:
        refuse(path, f"more than {MAX_BYTES:,} bytes", "a smaller track file")
    sha256 = hashlib.sha256(raw).hexdigest()
    if not raw.startswith(_GZIP_MAGIC):
        return Source(path, sha256, raw)
    data, notes = _inflate(path, raw)
    return Source(path, sha256, data, notes)


def _inflate(path: Path, raw: bytes) -> tuple[bytes, tuple[Note, ...]]:
    """Inflate a gzip file, as far as it can be read."""
    inflated = bytearray()
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(raw)) as file:
            # read1: with read, an error would take the bytes before it along
            while chunk := file.read1(_CHUNK_BYTES):
                inflated += chunk
                if len(inflated) > MAX_BYTES:
                    refuse(path, f"more than {MAX_BYTES:,} bytes inflated", "a smaller track file")
    except (OSError, EOFError, zlib.error) as error:
        if not inflated:
            refuse(path, f"gzip data that cannot be inflated ({error})", "a whole gzip file")
        message = f"the gzip data cannot be read to the end ({error}): {len(inflated)} bytes kept"
        return bytes(inflated), (Note("file-cut-short", message),)
    return bytes(inflated), ()


def format_of(data: bytes) -> Format | None:
    """Format of a track file by its first bytes; None if it is neither."""
    if data[8:12] == b".FIT":
        return Format.FIT
    if data[:1024].lstrip(_BEFORE_MARKUP).startswith(b"<"):
        return Format.XML
    return None


def refuse_unknown_format(source: Source, expected: str) -> NoReturn:
    """End the reading of a file by saying what it seems to be.

    Raises
    ------
    TrackError
        Always.
    """
    refuse(source.path, _seems(source.data), expected)


def _seems(data: bytes) -> str:
    """Say what a file seems to be, in a few words."""
    if not data.strip(b"\x00"):
        return "only zero bytes" if data else "an empty file"
    if (known := format_of(data)) is not None:
        return f"{known.value} data"
    head = data[:64].decode("utf-8", errors="ignore").strip("\ufeff \t\r\n")
    if head.startswith(("{", "[")):
        return "JSON"
    if not head:
        return "nothing but white space"
    if all(mark.isprintable() or mark in _TEXT_CONTROLS for mark in head):
        return f"text that begins '{head[:30]}'"
    return "unknown binary data"
