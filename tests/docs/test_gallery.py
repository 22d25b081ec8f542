"""docs/gallery.md: its pictures are there and small, its answers are what is printed today."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from docs.make_gallery import ANSWERS, GALLERY, SHOTS, TAG_SHOT, answers, shown
from PIL import Image

from tests.docs.pages import text_of
from tests.test_readme import alike, words

TEXT = text_of("gallery.md")
MOST_BYTES = 600_000


def test_page_shows_what_is_made() -> None:
    made = {f"{shot.name}.png" for shot in (*SHOTS, TAG_SHOT)} | {"profile.png"}
    made |= {f"{name}.txt" for name in ANSWERS}
    assert set(re.findall(r"gallery/(\w+\.\w+)", TEXT)) == made
    assert {path.name for path in GALLERY.iterdir()} == made


def test_pictures_are_small() -> None:
    pictures = list(GALLERY.glob("*.png"))
    assert sum(path.stat().st_size for path in pictures) < MOST_BYTES
    for path in pictures:
        with Image.open(path) as picture:
            assert picture.mode == "P"


def test_pictures_are_described() -> None:
    described = re.findall(r"!\[(.*?)\]", TEXT)
    assert len(described) == len(SHOTS) + 2
    assert min(map(len, described)) > 30


def test_it_says_that_all_is_invented() -> None:
    assert "All of this is invented" in TEXT.split("## ")[0]


def test_answers_are_real(tmp_path: Path) -> None:
    """If not: python -m docs.make_gallery answers.

    What was drawn at random is looked at in its first two lines: rounding turns the draws about.
    """
    for name, printed in answers(tmp_path).items():
        kept = (GALLERY / f"{name}.txt").read_text(encoding="utf-8")
        assert kept.startswith(shown(name))
        before, now = words(kept.removeprefix(shown(name))), words(printed)
        assert len(before) == len(now), name
        drawn = name in ("predict", "turnback")
        looked_at = 2 if drawn else len(now)
        for old, new in zip(before[:looked_at], now[:looked_at], strict=True):
            assert len(old) == len(new), new
            assert all(like(*pair, drawn=drawn) for pair in zip(old, new, strict=True)), new


def like(before: str, now: str, *, drawn: bool) -> bool:
    """The same word, or a number that is near enough."""
    if not drawn:
        return alike(before, now)
    number = re.compile(r"\d+(?:\.\d+)?")
    pairs = zip(number.findall(before), number.findall(now), strict=True)
    return number.sub("#", before) == number.sub("#", now) and all(
        float(old) == pytest.approx(float(new), rel=0.1, abs=2.0) for old, new in pairs
    )
