"""The text of a table of tags with other tags in it: lines that still hold stay as they are."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from wherewatt.tagging.edits import SAME_M, Stretch, Stretches, Tags

HEADER = "from,to,surface,structure"
_DELIMITERS = (";", "\t", ",")


@dataclass(frozen=True, slots=True)
class PlacedRow:
    """A row of a table of tags, placed on the ride.

    Parameters
    ----------
    line : line in the file, from 1.
    start_m, end_m : distances from the start [m].
    surface, structure, note : its cells; may be empty.
    from_text, to_text : its places, as the user wrote them.
    """

    line: int
    start_m: float
    end_m: float
    surface: str
    structure: str
    note: str
    from_text: str
    to_text: str


@dataclass(frozen=True, slots=True)
class _NewRow:
    start_m: float
    end_m: float
    surface: str
    structure: str
    note: str


PlaceText = Callable[[float], str]


def tags_of(rows: Iterable[PlacedRow]) -> Tags:
    """The tags that rows set."""
    rows = sorted(rows, key=lambda row: row.start_m)
    return Tags(
        tuple(Stretch(row.start_m, row.end_m, row.surface) for row in rows if row.surface),
        tuple(Stretch(row.start_m, row.end_m, row.structure) for row in rows if row.structure),
    )


def kilometres(distance_m: float, most_m: float) -> str:
    """A distance as it is written, to the metre: ``1.250 km``; never beyond the end of the ride."""
    metres = math.floor(distance_m + 0.5)
    if metres > most_m:
        metres = math.floor(most_m)
    return f"{metres / 1000.0:.3f} km"


def words_of_edges(rows: Iterable[PlacedRow], otherwise: PlaceText) -> PlaceText:
    """How places are written: an edge that stands in a row already keeps the user's words."""
    known = [pair for row in rows for pair in _edges(row)]

    def text(distance_m: float) -> str:
        near = [pair for pair in known if abs(pair[0] - distance_m) <= SAME_M]
        return min(near, key=lambda pair: abs(pair[0] - distance_m))[1] if near else ""

    return lambda distance_m: text(distance_m) or otherwise(distance_m)


def compose(
    text: str,
    rows: Sequence[PlacedRow],
    wanted: Tags,
    place_text: PlaceText,
    *,
    anew: bool = False,
) -> str:
    """The table with other tags in it.

    Rows that say what is wanted stay as they are, and so do comments and empty lines; other rows
    give way, and new ones are put in by their distance.

    Parameters
    ----------
    text : of the table, with plain newlines; empty for a new one.
    rows : its rows.
    wanted : the tags it shall hold.
    place_text : how the distance of a new edge is written.
    anew : whether every row is written anew.
    """
    kept, left = (frozenset[int](), wanted) if anew else _still_wanted(rows, wanted)
    new = [_with_note(row, rows) for row in _joined(left)]
    lines = text.rstrip("\n").split("\n") if text.strip() else []
    if not any(map(_is_written, lines)):
        lines.append(HEADER)
    at = next(number for number, line in enumerate(lines) if _is_written(line))
    delimiter = next((mark for mark in _DELIMITERS if mark in lines[at]), ",")
    columns = [
        cell.strip().casefold() for cell in next(csv.reader([lines[at]], delimiter=delimiter))
    ]
    if "structure" not in columns and any(row.structure for row in new):
        lines[at] = f"{lines[at].rstrip()}{delimiter}structure"
        columns.append("structure")
    texts = [(row.start_m, _line(row, columns, delimiter, place_text)) for row in new]
    return "\n".join(_woven(lines, {row.line: row for row in rows}, kept, texts)) + "\n"


def _woven(
    lines: Sequence[str],
    rows: Mapping[int, PlacedRow],
    kept: frozenset[int],
    new: list[tuple[float, str]],
) -> list[str]:
    """Old lines with the new ones, sorted by distance, put between them."""
    woven: list[str] = []

    def put_before(distance_m: float) -> None:
        while new and new[0][0] < distance_m:
            woven.append(new.pop(0)[1])

    for number, line in enumerate(lines, start=1):
        row = rows.get(number)
        if row is None:
            woven.append(line)
        elif number in kept:
            put_before(row.start_m)
            woven.append(line)
        else:
            put_before(row.end_m)
        if number == max(rows, default=0):
            put_before(math.inf)
    put_before(math.inf)
    return woven


def _still_wanted(rows: Sequence[PlacedRow], wanted: Tags) -> tuple[frozenset[int], Tags]:
    """Lines of the rows that can stay, and the tags that none of them sets."""
    surfaces, structures, kept = list(wanted.surface), list(wanted.structure), set()
    for row in rows:
        surface = _found(surfaces, Stretch(row.start_m, row.end_m, row.surface))
        structure = _found(structures, Stretch(row.start_m, row.end_m, row.structure))
        if (surface is None and row.surface) or (structure is None and row.structure):
            continue
        kept.add(row.line)
        if surface is not None:
            surfaces.remove(surface)
        if structure is not None:
            structures.remove(structure)
    return frozenset(kept), Tags(tuple(surfaces), tuple(structures))


def _found(stretches: Iterable[Stretch], sought: Stretch) -> Stretch | None:
    return next((one for one in stretches if sought.label and one.is_same(sought)), None)


def _joined(tags: Tags) -> list[_NewRow]:
    """Rows for tags, sorted: a surface and a structure of one stretch share a row."""
    structures = list(tags.structure)
    rows = []
    for surface in tags.surface:
        structure = next((one for one in structures if _same_ends(one, surface)), None)
        if structure is not None:
            structures.remove(structure)
        label = structure.label if structure is not None else ""
        rows.append(_NewRow(surface.start_m, surface.end_m, surface.label, label, ""))
    rows += [_NewRow(one.start_m, one.end_m, "", one.label, "") for one in structures]
    return sorted(rows, key=lambda row: row.start_m)


def _same_ends(one: Stretch, other: Stretch) -> bool:
    return abs(one.start_m - other.start_m) <= SAME_M and abs(one.end_m - other.end_m) <= SAME_M


def _with_note(new: _NewRow, rows: Iterable[PlacedRow]) -> _NewRow:
    """A new row with the note of the old one that it is a piece of."""
    for row in rows:
        alike = (row.surface, row.structure) == (new.surface, new.structure)
        if alike and row.note and row.start_m < new.end_m and new.start_m < row.end_m:
            return _NewRow(new.start_m, new.end_m, new.surface, new.structure, row.note)
    return new


def _line(row: _NewRow, columns: Sequence[str], delimiter: str, place_text: PlaceText) -> str:
    cells = {
        "from": place_text(row.start_m),
        "to": place_text(row.end_m),
        "surface": row.surface,
        "structure": row.structure,
        "note": row.note,
    }
    buffer = io.StringIO()
    csv.writer(buffer, delimiter=delimiter, lineterminator="").writerow(
        [cells[name] for name in columns]
    )
    return buffer.getvalue()


def _edges(row: PlacedRow) -> tuple[tuple[float, str], tuple[float, str]]:
    return (row.start_m, row.from_text), (row.end_m, row.to_text)


def _is_written(line: str) -> bool:
    """Whether a line says something, as the reader of tables sees it."""
    return bool(line.strip(" ;,\t")) and not line.lstrip().startswith("#")


def same_tags(one: Tags, other: Tags, off_m: float) -> bool:
    """Whether tags are alike, with edges off by so much at most [m]."""
    return _alike(one.surface, other.surface, off_m) and _alike(
        one.structure, other.structure, off_m
    )


def _alike(one: Stretches, other: Stretches, off_m: float) -> bool:
    return len(one) == len(other) and all(
        a.label == b.label and max(abs(a.start_m - b.start_m), abs(a.end_m - b.end_m)) <= off_m
        for a, b in zip(one, other, strict=True)
    )
