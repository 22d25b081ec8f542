"""The watch with its real work: the same results as a report."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.inbox.standin import Ears
from wherewatt.config import load_config, shipped_folder
from wherewatt.errors import TerrainError
from wherewatt.inbox.report_work import ReportWork
from wherewatt.inbox.settings import WatchSettings
from wherewatt.inbox.teller import Status
from wherewatt.inbox.watch import watch_folder
from wherewatt.pipeline import analyse_for_page, open_tiles
from wherewatt.report.files import LEGS_NAME, PAGE_NAME, SECTIONS_NAME, SUMMARY_NAME, write_result
from wherewatt.units import DistanceUnit

SAMPLES = shipped_folder("sample_tracks")
ONCE = WatchSettings(settle_s=0.05, patience_s=0.1, once=True)


def test_same_as_a_report(tmp_path: Path) -> None:
    folder, out, terrain = tmp_path / "drop", tmp_path / "out", SAMPLES / "terrain"
    folder.mkdir()
    for path in SAMPLES.glob("harbour_commute.*"):
        shutil.copy(path, folder)
    (folder / "broken.fit").write_text("this is no FIT file", encoding="utf-8")
    ears = Ears()
    status = watch_folder(folder, out, ReportWork((terrain,)), ONCE, ears)
    assert status == Status(done=1, unusable=1)
    note = (folder / "broken.fit.problem.txt").read_text(encoding="utf-8")
    assert note.startswith("broken.fit: found text that begins 'this is no FIT file', expected")
    result = analyse_for_page(folder / "harbour_commute.fit", open_tiles([terrain]), load_config())
    write_result(result, tmp_path / "direct", DistanceUnit.KM)
    for name in (SECTIONS_NAME, LEGS_NAME, SUMMARY_NAME, PAGE_NAME):
        assert (out / "harbour_commute" / name).read_bytes() == (
            tmp_path / "direct" / name
        ).read_bytes(), name
    assert f"harbour_commute.fit: 14.3 km, {result.ledger.total.mean:.0f} Wh" in ears.lines


def test_says_that_a_track_is_cut_short(tmp_path: Path) -> None:
    """A file that breaks off may still be on its way; the watch gives it more time."""
    whole = (SAMPLES / "ridge_trail.gpx").read_bytes()
    track = tmp_path / "ride.gpx"
    for content, is_whole in ((whole[: len(whole) // 2], False), (whole, True)):
        track.write_bytes(content)
        made = ReportWork((), DistanceUnit.MI)(track, tmp_path / "out")
        assert made.whole is is_whole
        assert " mi, " in made.line


def test_key_follows_the_options(tmp_path: Path) -> None:
    (tmp_path / "N44W030.hgt").write_bytes(b"\0")
    key = ReportWork((tmp_path,)).key
    assert key == ReportWork((tmp_path,)).key
    others = [ReportWork(()).key, ReportWork((tmp_path,), DistanceUnit.MI).key]
    (tmp_path / "N44W031.hgt").write_bytes(b"\0")
    others.append(ReportWork((tmp_path,)).key)
    assert len({key, *others}) == 4
    with pytest.raises(TerrainError):
        _ = ReportWork((tmp_path / "missing",)).key
