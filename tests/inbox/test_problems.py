"""The note beside a track."""

from __future__ import annotations

from pathlib import Path

from wherewatt.inbox.problems import remove_problem, remove_strays, write_problem


def test_written_and_removed(tmp_path: Path) -> None:
    track, fallback = tmp_path / "a.gpx", tmp_path / "out/a.gpx.problem.txt"
    note = write_problem(track, "a.gpx: found x, expected y", fallback)
    assert note == tmp_path / "a.gpx.problem.txt"
    assert note.read_text(encoding="utf-8").splitlines()[0] == "a.gpx: found x, expected y"
    assert [path.name for path in tmp_path.iterdir()] == ["a.gpx.problem.txt"]
    remove_problem(track, fallback)
    assert not any(tmp_path.iterdir())


def test_unchanged_note_is_not_touched(tmp_path: Path) -> None:
    track, fallback = tmp_path / "a.gpx", tmp_path / "fallback.txt"
    states = []
    for text in ("one", "one", "two"):
        note = write_problem(track, text, fallback)
        assert note
        states.append(note.stat().st_ino)
    assert states[0] == states[1] != states[2]


def test_beside_the_results_if_not_beside_the_track(tmp_path: Path) -> None:
    track, fallback = tmp_path / "gone/a.gpx", tmp_path / "out/a.gpx.problem.txt"
    assert write_problem(track, "text", fallback) == fallback
    assert write_problem(track, "text", tmp_path / "out/a.gpx.problem.txt/b") is None
    remove_problem(track, fallback)
    assert not fallback.exists()


def test_strays(tmp_path: Path) -> None:
    """Notes on tracks that are gone, and halves, are removed; what is not ours stays."""
    tracks = [tmp_path / "a.gpx", tmp_path / "b.gpx"]
    for track in tracks:
        write_problem(track, "text", tmp_path / "x")
    (tmp_path / ".c.gpx.problem.txt").write_text("ha", encoding="utf-8")
    (tmp_path / "mine.problem.txt").write_text("my own", encoding="utf-8")
    remove_strays(tracks[:1], [tmp_path, tmp_path / "gone"])
    assert {path.name for path in tmp_path.iterdir()} == {"a.gpx.problem.txt", "mine.problem.txt"}
