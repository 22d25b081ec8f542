"""Files that are whole or not there."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

PART_ENDING = ".part"  # of a file in the making; one that is found was left by a kill


def write_whole(path: Path, data: bytes) -> None:
    """Write a file or replace one; it is never seen half-written, nor after a loss of power.

    Raises
    ------
    OSError
        If it cannot be written; what was there before stays, and nothing is left behind.
    """
    hidden = path.with_name(f".{secrets.token_hex(8)}{PART_ENDING}")
    try:
        with hidden.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(hidden, path)
    finally:
        hidden.unlink(missing_ok=True)
