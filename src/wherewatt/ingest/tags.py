"""Surface tags by hand: from here to there the ride went over gravel or a bridge."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from wherewatt.errors import nearest_name
from wherewatt.ingest.place import EXPECTED, Place, PlaceKind
from wherewatt.ingest.sidefile import (
    STRUCTURES,
    ProblemList,
    Row,
    place_of,
    quoted,
    read_table,
)

REQUIRED = ("from", "to", "surface")
OPTIONAL = ("structure", "note")


@dataclass(frozen=True, slots=True)
class SurfaceTag:
    """A stretch of the ride, tagged by hand.

    Parameters
    ----------
    start, end : where the stretch begins and ends.
    surface : a known surface; empty if only the structure is tagged.
    structure : "bridge", "tunnel" or empty.
    line : line in the file, from 1.
    """

    start: Place
    end: Place
    surface: str
    structure: str
    line: int


def read_tags(path: Path, known_surfaces: Collection[str]) -> tuple[SurfaceTag, ...]:
    """Read hand tags, in the order of the file.

    A surface and a structure may overlap (a bridge within a stretch of asphalt); two
    surfaces, or two structures, may not.

    Raises
    ------
    SideFileError
        With one problem per thing to mend.
    """
    problems = ProblemList(path)
    rows = read_table(problems, required=REQUIRED, optional=OPTIONAL)
    tags = [tag for row in rows if (tag := _tag(row, known_surfaces, problems)) is not None]
    for kind in PlaceKind:
        same = [tag for tag in tags if tag.start.kind is tag.end.kind is kind]
        _refuse_overlaps([tag for tag in same if tag.surface], "surface", problems)
        _refuse_overlaps([tag for tag in same if tag.structure], "structure", problems)
    problems.raise_any()
    return tuple(tags)


def _tag(row: Row, known_surfaces: Collection[str], problems: ProblemList) -> SurfaceTag | None:
    """Make the tag of one row; None if something is wrong with it."""
    before = len(problems.problems)
    start, end = _place(row, "from", problems), _place(row, "to", problems)
    surface, structure = row.cells["surface"].casefold(), row.cells.get("structure", "").casefold()
    line = f"line {row.line}"
    refuse_unknown(line, surface, structure, known_surfaces, problems)
    if start is None or end is None or len(problems.problems) > before:
        return None
    if start.kind is end.kind and start.value >= end.value:
        found = f"from {quoted(start.text)} to {quoted(end.text)}"
        problems.add(line, found, "an end that lies after the start")
        return None
    return SurfaceTag(start, end, surface, structure, row.line)


def _place(row: Row, column: str, problems: ProblemList) -> Place | None:
    try:
        return place_of(row.cells[column])
    except ValueError:
        problems.add(f"line {row.line}", f"{column} {quoted(row.cells[column])}", EXPECTED)
        return None


def refuse_unknown(
    place: str,
    surface: str,
    structure: str,
    known_surfaces: Collection[str],
    problems: ProblemList,
) -> None:
    """Add a problem for a surface or structure that is not known, or if there is neither."""
    if surface and surface not in known_surfaces:
        mend = nearest_name(surface, known_surfaces)
        problems.add(place, f"surface {quoted(surface)}", "a known surface", mend)
    if structure and structure not in STRUCTURES:
        mend = nearest_name(structure, STRUCTURES)
        problems.add(place, f"structure {quoted(structure)}", "a known structure", mend)
    if not surface and not structure:
        problems.add(place, "neither surface nor structure", "at least one of them")


def _refuse_overlaps(tags: list[SurfaceTag], what: str, problems: ProblemList) -> None:
    """Add a problem for each tag that begins before an earlier one has ended."""
    furthest: SurfaceTag | None = None
    for tag in sorted(tags, key=lambda tag: (tag.start.value, tag.line)):
        if furthest is not None and tag.start.value < furthest.end.value:
            first, second = sorted((furthest.line, tag.line))
            problems.add(
                f"lines {first} and {second}",
                f"two {what} tags that overlap near {quoted(tag.start.text)}",
                f"one {what} at a time",
            )
        if furthest is None or tag.end.value > furthest.end.value:
            furthest = tag
