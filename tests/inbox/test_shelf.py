"""Results appear whole or not at all, wherever a kill strikes."""

from __future__ import annotations

from pathlib import Path

import pytest

from wherewatt.errors import OutputError
from wherewatt.inbox.shelf import NEW_NAME, STAGING_NAME, Shelf
from wherewatt.inbox.stamp import STAMP_NAME, Stamp, make_stamp, put_stamp

STAMP = Stamp("ride.gpx", {"ride.gpx": "0"}, "1", "2")


class Killed(BaseException):
    """Nothing catches it: what follows in the program does not happen."""


def made(shelf: Shelf, text: str, *names: str, result: str = "ride") -> Path:
    """A workshop with a finished result in it."""
    workshop = shelf.open_workshop(result)
    folder = workshop / NEW_NAME
    folder.mkdir()
    for name in names:
        (folder / name).write_text(text, encoding="utf-8")
    put_stamp(STAMP, folder)
    return workshop


def contents(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8")
        for path in folder.rglob("*")
        if path.is_file() and path.name != STAMP_NAME
    }


def test_first_result(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    shelf.place(made(shelf, "new", "a.txt", "b.txt", result="sub/ride"))
    assert contents(tmp_path) == {"sub/ride/a.txt": "new", "sub/ride/b.txt": "new"}
    assert STAMP.is_on(tmp_path / "sub/ride")
    shelf.clear()
    assert not (tmp_path / STAGING_NAME).exists()


def test_new_result_for_old(tmp_path: Path) -> None:
    """What the earlier result had and the new one has not is gone; a user's own file stays."""
    shelf = Shelf(tmp_path)
    shelf.place(made(shelf, "old", "a.txt", "dropped.txt"))
    (tmp_path / "ride/mine.txt").write_text("mine", encoding="utf-8")
    shelf.place(made(shelf, "new", "a.txt", "b.txt"))
    assert contents(tmp_path) == {
        "ride/a.txt": "new",
        "ride/b.txt": "new",
        "ride/mine.txt": "mine",
    }


def test_result_of_a_report_is_taken_over(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    (tmp_path / "ride").mkdir()
    (tmp_path / "ride/a.txt").write_text("without a stamp", encoding="utf-8")
    shelf.place(made(shelf, "new", "a.txt"))
    assert contents(tmp_path) == {"ride/a.txt": "new"}


@pytest.mark.parametrize("step", range(40))
@pytest.mark.parametrize("has_old", [False, True])
def test_killed_at_any_step(
    step: int, has_old: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed before each call that changes a folder: afterwards all is old or all is new."""
    shelf = Shelf(tmp_path)
    if has_old:
        shelf.place(made(shelf, "old", "a.txt", "b.txt"))
        (tmp_path / "ride/mine.txt").write_text("mine", encoding="utf-8")
    workshop = made(shelf, "new", "a.txt", "b.txt")
    steps_left = [step]
    with monkeypatch.context() as patch:
        for owner, name in (("pathlib.Path", "rename"), ("os", "unlink"), ("os", "rmdir")):
            _kill_at(patch, owner, name, steps_left)
        try:
            shelf.place(workshop)
        except Killed:
            survived = False
        else:
            survived = True
    assert shelf.recover() <= {"ride", ""}
    found = contents(tmp_path)
    mine = {"ride/mine.txt": "mine"} if has_old else {}
    results = [{"ride/a.txt": text, "ride/b.txt": text} | mine for text in ("old", "new")]
    allowed = [results[0] if has_old else {}, results[1]]
    assert found in (allowed[1:] if survived else allowed)
    if found:
        assert STAMP.is_on(tmp_path / "ride")
    shelf.clear()
    assert not (tmp_path / STAGING_NAME).exists()
    assert survived or step < 30  # else the kills would not cover all steps


def _kill_at(patch: pytest.MonkeyPatch, owner: str, name: str, steps_left: list[int]) -> None:
    import os

    target = Path if owner == "pathlib.Path" else os
    real = getattr(target, name)

    def counted(*arguments: object, **options: object) -> object:
        if steps_left[0] == 0:
            raise Killed
        steps_left[0] -= 1
        return real(*arguments, **options)

    patch.setattr(target, name, counted)


def test_unfinished_ones_are_removed_and_named(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    (made(shelf, "half", "a.txt") / NEW_NAME / STAMP_NAME).unlink()
    assert shelf.recover() == {"ride"}
    assert contents(tmp_path) == {}


def test_file_in_the_way(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    (tmp_path / "ride").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="ride is there as a file"):
        shelf.place(made(shelf, "new", "a.txt"))
    assert contents(tmp_path) == {"ride": "mine"}


def test_failing_move_leaves_the_old_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf = Shelf(tmp_path)
    shelf.place(made(shelf, "old", "a.txt"))
    workshop = made(shelf, "new", "a.txt")
    real = Path.rename

    def rename(path: Path, target: Path) -> Path:
        if path.name == NEW_NAME:
            raise PermissionError(13, "Permission denied")
        return real(path, target)

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(OutputError, match="the result cannot be written: Permission denied"):
        shelf.place(workshop)
    assert contents(tmp_path) == {"ride/a.txt": "old"}


@pytest.mark.parametrize("change", ["content", "side file", "version", "settings", "missing"])
def test_stamp_holds_for_one_content_only(
    change: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    track, result = tmp_path / "ride.gpx", tmp_path / "result"
    track.write_text("track", encoding="utf-8")
    names, settings = ["ride.gpx"], "settings"
    result.mkdir()
    (result / "a.txt").write_text("a", encoding="utf-8")
    put_stamp(make_stamp(track, names, settings), result)
    assert make_stamp(track, names, settings).is_on(result)
    match change:
        case "content":
            track.write_text("other", encoding="utf-8")
        case "side file":
            (tmp_path / "ride.toml").write_text("", encoding="utf-8")
            names = [*names, "ride.toml"]
        case "version":
            monkeypatch.setattr("wherewatt.inbox.stamp.__version__", "next")
        case "settings":
            settings = "others"
        case "missing":
            (result / "a.txt").unlink()
    assert not make_stamp(track, names, settings).is_on(result)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"stamp": 1}', "\0\0\0"])
def test_damaged_stamp_holds_for_nothing(text: str, tmp_path: Path) -> None:
    (tmp_path / STAMP_NAME).write_text(text, encoding="utf-8")
    assert not STAMP.is_on(tmp_path)
