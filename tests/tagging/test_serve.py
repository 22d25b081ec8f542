"""The server as a process of its own: its link, and its end."""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from wherewatt.config import shipped_folder
from wherewatt.tagging import serve

PROGRAM = """
import sys
from pathlib import Path
from wherewatt.config import load_config
from wherewatt.pipeline import open_tiles
from wherewatt.tagging.serve import open_session, serve
from wherewatt.units import DistanceUnit
track = Path(sys.argv[1])
session = open_session(track, track.parent, open_tiles([]), load_config(), DistanceUnit.KM)
serve(session, 0, lambda link: print(link, flush=True))
print("ended", flush=True)
"""


def test_interrupted(tmp_path: Path) -> None:
    shutil.copy(shipped_folder("sample_tracks") / "ridge_trail.gpx", tmp_path)
    with subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(tmp_path / "ridge_trail.gpx")],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        assert process.stdout
        link = process.stdout.readline().strip()
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/\?token=[\w-]{32}", link)
        process.send_signal(signal.SIGINT)
        assert process.stdout.read() == "ended\n"
    assert process.returncode == 0


def test_link_is_shown_only_where_there_is_a_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[str] = []
    monkeypatch.setattr("webbrowser.open", lambda link: bool(shown.append(link)) or True)
    monkeypatch.setattr(serve.sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    assert not serve.open_link("http://127.0.0.1:1/")
    monkeypatch.setenv("DISPLAY", ":0")
    assert serve.open_link("http://127.0.0.1:1/")
    assert shown == ["http://127.0.0.1:1/"]
