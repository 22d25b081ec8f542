"""What the tests of several pages need."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

TOP = Path(__file__).parents[2]
DOCS = TOP / "docs"
PACKAGE = TOP / "src" / "wherewatt"


def text_of(page: str) -> str:
    return (DOCS / page).read_text(encoding="utf-8")


def dotted_names(text: str) -> list[str]:
    """What a page calls by its full name, each once."""
    return sorted(set(re.findall(r"`(wherewatt(?:\.\w+)+)`", text)))


def found(name: str) -> object:
    """What a dotted name stands for; fails if there is nothing of that name."""
    parts = name.split(".")
    for end in range(len(parts), 0, -1):
        try:
            thing: object = import_module(".".join(parts[:end]))
        except ModuleNotFoundError:
            continue
        for part in parts[end:]:
            thing = getattr(thing, part)
        return thing
    raise ModuleNotFoundError(name)
