"""`wherewatt demo` as a user runs it; no browser is opened."""

from __future__ import annotations

from pathlib import Path

import pytest

from wherewatt import demo
from wherewatt.cli import main
from wherewatt.config import shipped_folder

RIDES = ("causeway_wind", "harbour_commute", "ridge_trail")


@pytest.fixture(autouse=True)
def opened(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """Addresses that a browser was asked for."""
    addresses: list[str] = []

    def keep(address: str) -> bool:
        addresses.append(address)
        return True

    monkeypatch.setattr("webbrowser.open", keep)
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.chdir(tmp_path)
    return addresses


def test_reports_in_a_folder(
    tmp_path: Path, opened: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["demo"]) == 0
    folder = tmp_path / "wherewatt-demo"
    pages = [folder / "reports" / name / "report.html" for name in RIDES]
    assert all(page.is_file() for page in pages)
    assert opened == [page.as_uri() for page in pages]
    printed = capsys.readouterr().out
    for name in RIDES:
        assert str(Path("wherewatt-demo/reports", name, "report.html")) in printed
    samples = shipped_folder("sample_tracks")
    for path in samples.rglob("*"):
        if path.is_file():
            assert (folder / path.relative_to(samples)).read_bytes() == path.read_bytes()
    assert not [path for path in folder.rglob("*") if path.name.startswith(".")]


def test_changed_files_are_not_written_over(
    tmp_path: Path, opened: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    demo.copy_samples(tmp_path / "mine")
    demo.copy_samples(tmp_path / "mine")  # unchanged: nothing to complain of
    changed = [tmp_path / "mine" / name for name in ("causeway_wind.toml", "ridge_trail.gpx")]
    for path in changed:
        path.write_text("my own", encoding="utf-8")
    (tmp_path / "mine/ridge_trail.toml").unlink()
    assert main(["demo", "mine"]) == 1
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(": ")[1] for line in lines] == [
        str(path.relative_to(tmp_path)) for path in changed
    ]
    assert all(path.read_text(encoding="utf-8") == "my own" for path in changed)
    assert not (tmp_path / "mine/ridge_trail.toml").exists()  # nothing was copied
    assert opened == []


def test_folder_that_cannot_be_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").touch()
    assert main(["demo", "file/folder"]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("wherewatt: file/folder/")


def test_nothing_is_opened(
    opened: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither if not wanted, nor without a screen, where a browser might take the terminal."""
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    assert not demo.open_pages([Path("a.html")])
    monkeypatch.setenv("BROWSER", "some-browser")
    assert demo.open_pages([Path("a.html")])
    opened.clear()
    assert main(["demo", "--no-open", "--units", "mi"]) == 0
    assert "Wh/mi" in capsys.readouterr().out
    assert opened == []
