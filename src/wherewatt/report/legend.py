"""What stands beside the charts as HTML: legends, and texts in both units."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from typing import Any

from markupsafe import Markup, escape

from wherewatt.report.charts.parts import Key
from wherewatt.report.palette import Fill

_BOTH = '<span class="km">{}</span><span class="mi">{}</span>'

# Lines of a hatch within a box of 30 by 16.
_HATCHES = {
    "/": "M3 15L13 1M13 15L23 1",
    "\\": "M3 1L13 15M13 1L23 15",
    "x": "M3 15L13 1M13 15L23 1M3 1L13 15M13 1L23 15",
    "|": "M8 1V15M15 1V15M22 1V15",
    "-": "M1 5H29M1 10H29",
    "+": "M8 1V15M15 1V15M22 1V15M1 5H29M1 10H29",
    ".": "M7 5h2M14 5h2M21 5h2M7 11h2M14 11h2M21 11h2",
}

# Dashes of a line that is two wide, by the chart library's names.
_DASHES = {
    "dot": "4 4",
    "dash": "8 4",
    "longdash": "11 4",
    "dashdot": "8 3 3 3",
    "longdashdot": "11 3 3 3",
}

_SHAPES = {
    "dash": '<path d="M7 8H23" stroke-width="3"/>',
    "bar": '<path d="M15 1V15"/>',
    "whisker": (
        '<path d="M3 8H27M3 4V12M27 4V12" stroke-width="1.5"/>'
        '<path d="M15 3l5 5l-5 5l-5 -5z" stroke-width="1.5" style="fill:var(--paper)"/>'
    ),
    "circle": '<circle cx="15" cy="8" r="4.5" style="fill:{ink}"/>',
    "circle-open": '<circle cx="15" cy="8" r="4.5"/>',
    "x-thin": '<path d="M10 3L20 13M20 3L10 13"/>',
}


def in_both(km: str, mi: str) -> Markup:
    """A text in both units, of which the page shows one; as it is where it has none."""
    if km == mi:
        return escape(km)
    return Markup(_BOTH.format(escape(km), escape(mi)))


def cells(km: Any, mi: Any) -> dict[str, Markup]:
    """A row of a table, given in both units as one dataclass of texts: its cells by field."""
    names = [item.name for item in fields(km)]
    return {name: in_both(getattr(km, name), getattr(mi, name)) for name in names}


def legend(keys: Iterable[Key]) -> Markup:
    """The lines of a legend: a sample and what it means."""
    items = (
        f"<li>{_sample(key)}<span>{in_both(key.label, key.label_mi or key.label)}</span></li>\n"
        for key in keys
    )
    return Markup("".join(items))


def _sample(key: Key) -> str:
    """What a key looks like, as a small drawing."""
    ink = _css(key.colour)
    if key.fill is not None:
        drawing = _box(key.fill)
    elif key.shape == "line":
        dash = f' stroke-dasharray="{_DASHES[key.dash]}"' if key.dash in _DASHES else ""
        drawing = f'<path d="M1 8H29" stroke-width="{key.width:g}"{dash}/>'
    else:
        drawing = _SHAPES[key.shape].replace("{ink}", ink)
    return (
        '<svg width="30" height="16" viewBox="0 0 30 16" aria-hidden="true" fill="none" '
        f'stroke-width="2" style="stroke:{ink}">{drawing}</svg>'
    )


def _box(fill: Fill) -> str:
    look = f'stroke-width="1" style="fill:{_css(fill.paint)}"'
    box = f'<rect x="1" y="1" width="28" height="14" {look}/>'
    if not fill.hatch:
        return box
    return f'{box}<path d="{_HATCHES[fill.pattern]}" stroke-width="1.2" opacity=".8"/>'


def _css(colour: str) -> str:
    """A colour, or the token of one, for a style."""
    return f"var(--{colour[1:]})" if colour.startswith("@") else colour
