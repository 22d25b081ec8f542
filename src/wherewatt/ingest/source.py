"""The bytes of a track file: from disk, out of gzip, and what format they are."""

from __future__ import annotations

import gzip
import hashlib
import io
import os
import zlib
from dataclasses import dataclass, fields
from enum import Enum
from pathlib import Path
from typing import NoReturn

from wherewatt.errors import Problem, TrackError, display_name
from wherewatt.ingest.track import Note

GZIP_MAGIC = b"\x1f\x8b"
_GZIP_MEMBER = b"\x1f\x8b\x08"
_MOST_MEMBERS = 100_000  # each takes time, even if nothing is in it
_CHUNK_BYTES = 1 << 18
_BEFORE_MARKUP = b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n"  # byte-order marks, UTF-16 zeros, white space
_TEXT_CONTROLS = frozenset("\t\r\n")


class Format(Enum):
    """What the bytes of a track file are."""

    FIT = "FIT"
    XML = "XML"


@dataclass(frozen=True, slots=True)
class Limits:
    """What is refused as absurd, so that reading ends soon and within bounded memory.

    Its values are those of table [ingest] in ``config/defaults.toml``, which gives the reasons.

    Parameters
    ----------
    max_file_bytes : size of a file on disk [byte].
    max_inflated_bytes : size of a gzipped file once it is inflated [byte].
    max_xml_depth : how deep elements may lie within elements.
    max_points : points of a track.

    Raises
    ------
    ValueError
        If a limit is below 1.
    """

    max_file_bytes: int = 1 << 29
    max_inflated_bytes: int = 1 << 29
    max_xml_depth: int = 100
    max_points: int = 3_000_000

    def __post_init__(self) -> None:
        for limit in fields(self):
            if getattr(self, limit.name) < 1:
                raise ValueError(f"{limit.name} must be at least 1")


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Source:
    """A track file in memory.

    Parameters
    ----------
    path : where it lies.
    sha256 : hash of its bytes as on disk, hexadecimal.
    data : its bytes, inflated if it was gzipped.
    notes : what was odd about them.
    limits : how much of what may be in it.
    """

    path: Path
    sha256: str
    data: bytes
    notes: tuple[Note, ...] = ()
    limits: Limits = DEFAULT_LIMITS


def refuse(path: Path, found: str, expected: str, *, place: str = "", mend: str = "") -> NoReturn:
    """End the reading of a track.

    Raises
    ------
    TrackError
        Always, with one problem.
    """
    raise TrackError(Problem(display_name(path), place, found, expected, mend))


def refuse_beyond(path: Path, limit: str, value: int, what: str) -> NoReturn:
    """End the reading of a file that goes beyond one of the `Limits`.

    Parameters
    ----------
    path : the file.
    limit, value : name and value of the limit.
    what : what there is too much of ("points").

    Raises
    ------
    TrackError
        Always.
    """
    mend = f"the limit is {limit} in [ingest] of config/defaults.toml"
    refuse(path, f"more than {value:,} {what}", "a smaller track file", mend=mend)


def read_source(path: Path, limits: Limits = DEFAULT_LIMITS) -> Source:
    """Read a track file and inflate it if it is gzipped, whatever its name.

    Raises
    ------
    TrackError
        If the file cannot be read, or is larger than the limits allow.
    """
    try:
        with path.open("rb") as file:
            # asked for its size and one more: memory for the limit would cost time to provide
            size = min(os.fstat(file.fileno()).st_size, limits.max_file_bytes)
            raw = file.read(size + 1)
            if len(raw) > size:  # it grew, or is no plain file
                raw += file.read(limits.max_file_bytes + 1 - len(raw))
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        refuse(path, getattr(error, "strerror", None) or str(error), "a readable track file")
    if len(raw) > limits.max_file_bytes:
        refuse_beyond(path, "max_file_bytes", limits.max_file_bytes, "bytes")
    sha256 = hashlib.sha256(raw).hexdigest()
    if not raw.startswith(GZIP_MAGIC):
        return Source(path, sha256, raw, limits=limits)
    data, notes = _inflate(path, raw, limits.max_inflated_bytes)
    return Source(path, sha256, data, notes, limits)


def _inflate(path: Path, raw: bytes, most_bytes: int) -> tuple[bytes, tuple[Note, ...]]:
    """Inflate a gzip file, as far as it can be read."""
    if raw.count(_GZIP_MEMBER) > _MOST_MEMBERS:
        refuse(path, f"more than {_MOST_MEMBERS:,} gzip files in one", "a track file, gzipped once")
    # zeros may follow, and would be read one by one; the last few may belong to the data
    raw = raw[: len(raw.rstrip(b"\0")) + 64]
    inflated = bytearray()
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(raw)) as file:
            # read1: with read, an error would take the bytes before it along
            while chunk := file.read1(_CHUNK_BYTES):
                inflated += chunk
                if len(inflated) > most_bytes:
                    refuse_beyond(path, "max_inflated_bytes", most_bytes, "bytes inflated")
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


def read_as(path: Path, wanted: Format, expected: str, limits: Limits = DEFAULT_LIMITS) -> Source:
    """Read a track file that has to be of one format.

    Raises
    ------
    TrackError
        If it cannot be read or is of another; `expected` says what it should be.
    """
    source = read_source(path, limits)
    if format_of(source.data) is not wanted:
        refuse_unknown_format(source, expected)
    return source


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
