"""One process at work per folder."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from wherewatt.errors import InputError
from wherewatt.lock import LOCK_NAME, only_user_of

HOLD = (
    "import sys, pathlib, time\n"
    "from wherewatt.lock import only_user_of\n"
    "with only_user_of(pathlib.Path(sys.argv[1]), 'archive'):\n"
    "    print('held', flush=True)\n"
    "    time.sleep(60)\n"
)


def test_second_is_refused_until_the_first_is_killed(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout
        assert holder.stdout.readline() == "held\n"
        message = rf"running archive \(process {holder.pid} on "
        with pytest.raises(InputError, match=message), only_user_of(tmp_path, "watch"):
            pass
        holder.kill()
    assert (tmp_path / LOCK_NAME).exists()  # stale
    with only_user_of(tmp_path, "watch"):
        pass
    assert not (tmp_path / LOCK_NAME).exists()


def test_lock_file_of_a_process_that_is_no_more(tmp_path: Path) -> None:
    """A process id alone says nothing: after a restart of the machine another may have it."""
    (tmp_path / LOCK_NAME).write_text("1 on elsewhere\n", encoding="utf-8")
    with only_user_of(tmp_path, "watch"):
        assert "1 on elsewhere" not in (tmp_path / LOCK_NAME).read_text(encoding="utf-8")


def test_where_nothing_can_be_written(tmp_path: Path) -> None:
    with only_user_of(tmp_path / "missing", "watch"):
        pass
