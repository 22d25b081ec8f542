"""Files that are whole or not there."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from wherewatt.whole_file import write_whole


def test_written_and_replaced(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    for data in (b"one", b"", b"another"):
        write_whole(path, data)
        assert path.read_bytes() == data
    assert list(tmp_path.iterdir()) == [path]


def test_name_as_long_as_it_may_be(tmp_path: Path) -> None:
    """255 bytes: the most that ext4, APFS and NTFS take for a name."""
    path = tmp_path / ("a" * 255)
    write_whole(path, b"one")
    assert path.read_bytes() == b"one"


def test_what_was_there_stays_if_the_disk_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.json"
    path.write_bytes(b"before")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(path, b"after")
    assert path.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [path]


def test_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        write_whole(tmp_path / "missing" / "a.json", b"one")
