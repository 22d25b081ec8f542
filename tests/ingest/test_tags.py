from __future__ import annotations

from pathlib import Path

import pytest

from wherewatt.errors import SideFileError
from wherewatt.ingest.place import EXPECTED, PlaceKind
from wherewatt.ingest.tags import SurfaceTag, read_tags

SURFACES = ("asphalt", "gravel", "cobbles")


def read(tmp_path: Path, text: str) -> tuple[SurfaceTag, ...]:
    path = tmp_path / "ride.surface.csv"
    path.write_text(text)
    return read_tags(path, SURFACES)


def lines_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(SideFileError) as caught:
        read(tmp_path, text)
    return [line.removeprefix("ride.surface.csv: ") for line in str(caught.value).split("\n")]


def test_all_columns(tmp_path: Path) -> None:
    text = (
        "from,to,surface,structure,note\n"
        "0 km,1.5 km,Asphalt,,smooth\n"
        "1.5 km,2 km,gravel,Bridge,\n"
        "0:10:00,0:11:00,cobbles\n"
    )
    first, second, third = read(tmp_path, text)
    assert (first.start.value, first.end.value) == (0.0, 1500.0)
    assert (first.surface, first.structure, first.line) == ("asphalt", "", 2)
    assert (second.surface, second.structure, second.line) == ("gravel", "bridge", 3)
    assert (third.start.kind, third.end.value) == (PlaceKind.ELAPSED, 660.0)


def test_structure_may_lie_within_a_surface(tmp_path: Path) -> None:
    text = "from,to,surface,structure\n0 km,5 km,asphalt,\n1 km,2 km,,tunnel\n2 km,3 km,,bridge\n"
    tags = read(tmp_path, text)
    assert [(tag.surface, tag.structure) for tag in tags] == [
        ("asphalt", ""),
        ("", "tunnel"),
        ("", "bridge"),
    ]


def test_ends_of_different_kinds_are_left_to_the_ride(tmp_path: Path) -> None:
    (tag,) = read(tmp_path, "from,to,surface\n5 km,0:01:00,gravel\n")
    assert (tag.start.kind, tag.end.kind) == (PlaceKind.DISTANCE, PlaceKind.ELAPSED)


def test_all_problems_at_once(tmp_path: Path) -> None:
    text = (
        "from,to,surface,structure\n"
        "here,there,asphalt,\n"
        "1 km,2 km,gravle,brige\n"
        "2 km,3 km,,\n"
        "4 km,4 km,gravel,\n"
        "0:05:00,0:04:00,gravel,\n"
    )
    assert lines_of(tmp_path, text) == [
        f"line 2: found from 'here', expected {EXPECTED}",
        f"line 2: found to 'there', expected {EXPECTED}",
        "line 3: found surface 'gravle', expected a known surface; did you mean 'gravel'?",
        "line 3: found structure 'brige', expected a known structure; did you mean 'bridge'?",
        "line 4: found neither surface nor structure, expected at least one of them",
        "line 5: found from '4 km' to '4 km', expected an end that lies after the start",
        "line 6: found from '0:05:00' to '0:04:00', expected an end that lies after the start",
    ]


def test_overlaps_name_both_lines(tmp_path: Path) -> None:
    text = (
        "from,to,surface,structure\n"
        "5 km,6 km,asphalt,\n"
        "0 km,4 km,asphalt,\n"
        "1 km,2 km,gravel,bridge\n"
        "3 km,4 km,cobbles,\n"
        "4 km,5.5 km,gravel,\n"
        "1.5 km,3 km,,tunnel\n"
        "0:00:00,1:00:00,asphalt,\n"
    )
    one = "expected one surface at a time"
    assert lines_of(tmp_path, text) == [
        f"lines 3 and 4: found two surface tags that overlap near '1 km', {one}",
        f"lines 3 and 5: found two surface tags that overlap near '3 km', {one}",
        f"lines 2 and 6: found two surface tags that overlap near '5 km', {one}",
        "lines 4 and 7: found two structure tags that overlap near '1.5 km', "
        "expected one structure at a time",
    ]


def test_wrong_header(tmp_path: Path) -> None:
    assert lines_of(tmp_path, "from,until,surface\n") == [
        "line 1: found column 'until', expected a known column; "
        "known: from, note, structure, surface, to"
    ]
