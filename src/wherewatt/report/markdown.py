"""The report as tables in Markdown, to paste where that is understood."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from wherewatt.report import view
from wherewatt.report.overview import Row, overview_headings
from wherewatt.report.result import RideResult
from wherewatt.report.wording import CAUTION_LINE, HANDBOOK_WARNING, INTERVAL_LINE, plain
from wherewatt.units import DistanceUnit

_SPECIAL = re.compile(r"([\\`*_\[\]<>|~$&])")


def markdown_report(result: RideResult, unit: DistanceUnit) -> str:
    """The report of a ride: the answer, the sections, the causes, notes and cautions.

    Tables are those of GitHub Flavored Markdown, section 4.10.

    Parameters
    ----------
    result : the ride.
    unit : unit of distances.
    """
    warning = [f"**{HANDBOOK_WARNING}**"] if view.is_handbook_only(result) else []
    notes = [f"- {_escaped(warning)}" for warning in view.warnings(result)]
    parts = [
        f"## {_escaped(plain(result.name))}",
        *warning,
        view.time_line(result),
        _answer(result, unit),
        _sections(result, unit),
        _causes(result),
        INTERVAL_LINE,
        *(["\n".join(notes)] if notes else []),
        f"*{CAUTION_LINE}*",
    ]
    return "\n\n".join(parts) + "\n"


def markdown_overview(rows: Sequence[Row], unit: DistanceUnit) -> str:
    """Several rides, a row each."""
    headings = [("Ride", True), *((heading, False) for heading in overview_headings(unit))]
    table = _table(headings, rows)
    return "\n\n".join([table, INTERVAL_LINE, f"*{CAUTION_LINE}*"]) + "\n"


def _answer(result: RideResult, unit: DistanceUnit) -> str:
    headings = [("Quantity", True), ("Estimate", False), ("90 % interval", False)]
    rows = [(row.name, row.value, row.interval or "–") for row in view.headline(result, unit)]
    return _table(headings, rows)


def _sections(result: RideResult, unit: DistanceUnit) -> str:
    headings = [
        ("#", False),
        (f"From–to, {unit}", False),
        ("Terrain", True),
        ("Flow", True),
        ("Surface", True),
        ("Wh", False),
        ("±", False),
        (f"Wh/{unit}", False),
        ("%", False),
    ]
    rows = [*view.section_rows(result, unit), view.section_total(result, unit)]
    return _table(
        headings,
        [
            (
                row.section, row.span, row.terrain, row.flow, row.surface, row.energy,
                row.half_width, row.per_distance, row.share,
            )
            for row in rows
        ],
    )  # fmt: skip


def _causes(result: RideResult) -> str:
    headings = [("Cause", True), ("Wh", False), ("±", False), ("%", False)]
    rows = [(row.name, row.energy, row.half_width, row.share) for row in view.cause_rows(result)]
    return _table(headings, rows)


def _table(headings: Sequence[tuple[str, bool]], rows: Iterable[Sequence[str]]) -> str:
    """A table; a heading comes with whether its column holds words rather than numbers."""
    lines = [
        _line(heading for heading, _ in headings),
        _line(":--" if words else "--:" for _, words in headings),
        *(_line(_escaped(cell) for cell in row) for row in rows),
    ]
    return "\n".join(lines)


def _line(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _escaped(text: str) -> str:
    """A text in which nothing is taken for markup."""
    return _SPECIAL.sub(r"\\\1", text)
