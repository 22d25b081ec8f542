"""Files that are whole or not there."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

PART_ENDING = ".part"  # of a file in the making; one that is found was left by a kill


def write_whole(path: Path, data: bytes) -> None:
    """Write a file or replace one, as `opened_whole` does.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    with opened_whole(path) as file:
        file.write(data)


@contextmanager
def opened_whole(path: Path) -> Iterator[BinaryIO]:
    """A file to write to, which takes its place when the block ends.

    It is never seen half-written, nor after a loss of power. If the block fails, what was there
    before stays, and nothing is left behind.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    hidden = path.with_name(f".{secrets.token_hex(8)}{PART_ENDING}")
    try:
        with hidden.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(hidden, path)
    finally:
        hidden.unlink(missing_ok=True)
