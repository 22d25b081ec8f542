"""docs/commands.md shows what --help prints."""

from __future__ import annotations

from docs.make_commands import WIDTH, page, verbs

from tests.docs.pages import text_of

TEXT = text_of("commands.md")


def test_page_is_what_is_printed() -> None:
    """If not: python -m docs.make_commands. Lines are broken otherwise by other Pythons."""
    assert TEXT.split() == page().split()


def test_every_verb_is_there() -> None:
    assert len(verbs()) > 8
    assert all(f"## wherewatt {name}\n" in TEXT for name in verbs())


def test_lines_fit() -> None:
    _, *blocks = TEXT.split("```text\n")
    lines = [line for block in blocks for line in block.partition("```")[0].splitlines()]
    assert max(map(len, lines)) <= int(WIDTH)
