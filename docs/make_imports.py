"""Draws docs/imports.svg anew, who imports whom; ``python -m docs.make_imports``."""

from __future__ import annotations

from pathlib import Path

from tests.test_imports import FILES, ORDER, imported, room_of

PICTURE = Path(__file__).parent / "imports.svg"
CELL, LEFT, TOP = 20, 92, 92  # pixels: a square of the grid, and room for the names


def rooms() -> list[str]:
    """All rooms, in the order in which they may import each other."""
    return [room for together in ORDER for room in together]


def imports() -> dict[tuple[str, str], bool]:
    """Pairs of a room and another that it imports; True if nothing but its settings."""
    known, found = set(rooms()), dict[tuple[str, str], bool]()
    for path in FILES:
        for name in imported(path):
            parts = name.split(".")
            pair = (room_of(path), parts[0])
            if known.issuperset(pair) and pair[0] != pair[1]:
                found[pair] = found.get(pair, True) and parts[1:2] == ["settings"]
    return found


def drawing() -> str:
    """The picture, in the colours of the page that it stands in."""
    names = rooms()
    place = {name: number for number, name in enumerate(names)}
    side = CELL * len(names)
    lines = [
        f'<svg class="drawing wide" viewBox="0 0 {LEFT + side} {TOP + side}" role="img" '
        'aria-label="Which room imports which; the table above says the same in words">'
    ]
    for number, name in enumerate(names):
        at = (number + 0.5) * CELL
        lines += [
            f'<text x="{LEFT - 6}" y="{TOP + at + 4:g}" text-anchor="end">{name}</text>',
            f'<text transform="translate({LEFT + at + 4:g} {TOP - 6}) rotate(-90)">{name}</text>',
            f'<path class="grid" d="M{LEFT} {TOP + at:g}h{side}M{LEFT + at:g} {TOP}v{side}"/>',
            _square("self", number, number),
        ]
    for (who, whom), settings in sorted(imports().items()):
        lines.append(_square("settings" if settings else "whole", place[whom], place[who]))
    return "\n".join([*lines, "</svg>", ""])


def _square(kind: str, column: int, row: int) -> str:
    x, y = LEFT + column * CELL + 4, TOP + row * CELL + 4
    return f'<rect class="{kind}" x="{x}" y="{y}" width="{CELL - 8}" height="{CELL - 8}"/>'


if __name__ == "__main__":
    PICTURE.write_text(drawing(), encoding="utf-8")
