"""`wherewatt tag` as a user runs it; no browser is opened."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from wherewatt.cli import main
from wherewatt.config import shipped_folder


def test_link_until_ctrl_c(tmp_path: Path) -> None:
    shutil.copy(shipped_folder("sample_tracks") / "harbour_commute.fit", tmp_path)
    track = tmp_path / "harbour_commute.fit"
    with subprocess.Popen(
        [sys.executable, "-m", "wherewatt", "tag", str(track), "--no-open"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        assert process.stdout
        assert process.stdout.readline().startswith("Tag the ride at http://127.0.0.1:")
        assert process.stdout.readline() == "The link lets in once. Ctrl-C ends it.\n"
        process.send_signal(signal.SIGINT)
        assert process.stdout.read() == ""
    assert process.returncode == 0
    assert list(tmp_path.iterdir()) == [track]


def test_bad_track(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tag", str(tmp_path / "none.gpx")]) == 1
    assert "none.gpx: found No such file" in capsys.readouterr().err
