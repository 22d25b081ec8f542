"""Saving tags: the contract of ride.surface.csv (docs/formats.md), and what is left alone."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.tagging.builders import SURFACES, place_file, surface, tag_file
from wherewatt.errors import OutputError, SideFileError
from wherewatt.ingest.tags import read_tags
from wherewatt.tagging.edits import Erase, Layer, MoveEdge, Paint, Stretch, Tags, apply_edit
from wherewatt.tagging.files import ABSENT, ChangedOnDisk
from wherewatt.tagging.rows import same_tags
from wherewatt.tagging.store import TagFile

OWN = (
    "# Ridden in the rain\n"
    "From;TO;surface;note\n"
    "\n"
    "0,0 km;1,5 km;asphalt;new\n"
    "# the track through the wood\n"
    "1,5 km;2 mi;gravel;\n"
    "4 km; 5.0 km ;dirt;muddy\n"
)


def save(file: TagFile, *edits: object) -> str:
    """Apply edits to what the file holds, save, and return its text."""
    loaded = file.load()
    tags = loaded.tags
    for edit in edits:
        tags = apply_edit(tags, edit)
    file.save(tags, loaded.version)
    assert same_tags(file.load().tags, tags, 1.0)
    read_tags(file.path, SURFACES)
    return file.path.read_bytes().decode()


def paint(start_m: float, end_m: float, label: str, layer: Layer = Layer.SURFACE) -> Paint:
    return Paint(layer, Stretch(start_m, end_m, label))


def test_new_file(tmp_path: Path) -> None:
    file = tag_file(tmp_path)
    assert file.load().version == ABSENT
    total = float(file.ride.distance_m[-1])
    bridge = paint(1000.0, 1250.0, "bridge", Layer.STRUCTURE)
    text = save(file, paint(0.0, 1250.0, "gravel"), paint(3000.0, total, "sand"), bridge)
    # Never past the end of the ride: the whole table would be scaled to it.
    assert text == (
        "from,to,surface,structure\n"
        "0.000 km,1.250 km,gravel,\n"
        "1.000 km,1.250 km,,bridge\n"
        f"3.000 km,{math.floor(total) / 1000.0:.3f} km,sand,\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["ride.surface.csv"]


def test_surface_and_structure_of_one_stretch_share_a_row(tmp_path: Path) -> None:
    both = paint(100.0, 300.0, "concrete"), paint(100.0, 300.0, "bridge", Layer.STRUCTURE)
    assert save(tag_file(tmp_path), *both).splitlines()[1:] == ["0.100 km,0.300 km,concrete,bridge"]


def test_nothing_to_write_makes_no_file(tmp_path: Path) -> None:
    file = tag_file(tmp_path)
    file.save(Tags(), ABSENT)
    assert not list(tmp_path.iterdir())


def test_unchanged_tags_leave_every_byte(tmp_path: Path) -> None:
    assert save(tag_file(tmp_path, OWN)) == OWN


def test_untouched_lines_and_comments_stay(tmp_path: Path) -> None:
    lines = save(tag_file(tmp_path, OWN), paint(3300.0, 4200.0, "sand")).splitlines()
    assert lines[:6] == OWN.splitlines()[:6]
    # The cut row keeps its other end as it was written, and its note.
    assert lines[6:] == ["3.300 km;4.200 km;sand;", "4.200 km;5.0 km;dirt;muddy"]


def test_an_edge_that_is_there_already_is_written_the_same_way(tmp_path: Path) -> None:
    two_miles = 2 * 1609.344
    lines = save(tag_file(tmp_path, OWN), paint(two_miles, 4000.0, "sand")).splitlines()
    assert lines == [*OWN.splitlines()[:6], "2 mi;4 km;sand;", OWN.splitlines()[6]]


def test_structure_column_is_added_when_needed(tmp_path: Path) -> None:
    bridge = paint(200.0, 400.0, "bridge", Layer.STRUCTURE)
    lines = save(tag_file(tmp_path, OWN), bridge).splitlines()
    assert lines[1] == "From;TO;surface;note;structure"
    assert "0.200 km;0.400 km;;;bridge" in lines
    assert lines[3] == OWN.splitlines()[3]


def test_erasing_all_leaves_header_and_comments(tmp_path: Path) -> None:
    text = save(tag_file(tmp_path, OWN), Erase(Layer.SURFACE, 0.0, 6900.0))
    assert text == "# Ridden in the rain\nFrom;TO;surface;note\n\n# the track through the wood\n"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_encoding_and_newlines_stay(tmp_path: Path, encoding: str) -> None:
    file = tag_file(tmp_path)
    file.path.write_bytes(OWN.replace("\n", "\r\n").encode(encoding))
    loaded = file.load()
    file.save(apply_edit(loaded.tags, paint(5500.0, 6000.0, "sand")), loaded.version)
    text = file.path.read_bytes().decode(encoding)
    assert text == OWN.replace("\n", "\r\n") + "5.500 km;6.000 km;sand;\r\n"


def test_odometer_that_ran_off_keeps_its_scale(tmp_path: Path) -> None:
    """The user's 7.1 km are the ride's 6.9: what is written is in the user's kilometres."""
    own = "from,to,surface\n0 km,3.55 km,asphalt\n3.55 km,7.1 km,gravel\n"
    file = tag_file(tmp_path, own)
    total = float(file.ride.distance_m[-1])
    assert file.load().tags.surface[0].end_m == pytest.approx(total / 2.0)
    lines = save(file, paint(total * 0.25, total * 0.3, "sand")).splitlines()
    assert lines[1:4] == [
        "0 km,1.775 km,asphalt",
        "1.775 km,2.130 km,sand",
        "2.130 km,3.55 km,asphalt",
    ]


def test_without_the_row_that_set_the_scale_all_are_written_anew(tmp_path: Path) -> None:
    own = "from,to,surface\n0 km,3.55 km,asphalt\n3.55 km,7.1 km,gravel\n"
    file = tag_file(tmp_path, own)
    total = float(file.ride.distance_m[-1])
    lines = save(file, Erase(Layer.SURFACE, total / 2.0, total)).splitlines()
    assert lines == ["from,to,surface", f"0.000 km,{total / 2000.0:.3f} km,asphalt"]


def test_call_outs_set_the_scale_too(tmp_path: Path) -> None:
    file = tag_file(tmp_path, readings="at,battery_pct\n0 km,90\n7.1 km,80\n")
    total = float(file.ride.distance_m[-1])
    lines = save(file, paint(0.0, total / 2.0, "sand")).splitlines()
    assert lines[1] == "0.000 km,3.550 km,sand,"


def test_tags_by_time_stay_where_they_hold(tmp_path: Path) -> None:
    """The second tag begins while the ride stands still, where a distance is no moment."""
    own = "from,to,surface\n0:00:00,0:05:25,asphalt\n0:05:25,0:11:00,gravel\n"
    lines = save(tag_file(tmp_path, own), paint(5000.0, 6000.0, "sand")).splitlines()
    assert lines == [*own.splitlines(), "5.000 km,6.000 km,sand"]


def test_distance_beside_a_time_within_a_stop(tmp_path: Path) -> None:
    """Both meet at one distance but not at one moment: all is written in distances then."""
    own = "from,to,surface\n0:00:00,0:05:29,asphalt\n"
    file = tag_file(tmp_path, own)
    stop_m = file.load().tags.surface[0].end_m
    save(file, paint(stop_m + 0.6, 3000.0, "sand"))


def test_moved_edge(tmp_path: Path) -> None:
    text = save(tag_file(tmp_path, OWN), MoveEdge(Layer.SURFACE, 1500.0, 1710.0))
    assert "0,0 km;1.710 km;asphalt;new\n" in text
    assert "1.710 km;2 mi;gravel;\n" in text


def test_a_change_on_disk_is_not_written_over(tmp_path: Path) -> None:
    file = tag_file(tmp_path, OWN)
    seen = file.load().version
    file.path.write_text(OWN + "6 km;6.5 km;grass;\n", encoding="utf-8")
    before = file.path.read_bytes()
    with pytest.raises(ChangedOnDisk, match="changed on disk"):
        file.save(surface((0.0, 500.0, "sand")), seen)
    assert file.path.read_bytes() == before
    file.path.unlink()
    with pytest.raises(ChangedOnDisk):
        file.save(surface((0.0, 500.0, "sand")), seen)
    assert not list(tmp_path.iterdir())


def test_damaged_file_is_refused_and_written_anew_if_asked(tmp_path: Path) -> None:
    file = tag_file(tmp_path, "from,to,surface\n0 km,1 km,asphald\n")
    with pytest.raises(SideFileError, match="did you mean 'asphalt'"):
        file.load()
    file.save(surface((0.0, 500.0, "sand")), file.version())
    assert file.load().tags == surface((0.0, 500.0, "sand"))


def test_link_is_followed_and_mode_kept(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    real = tmp_path / "real/tags.csv"
    real.write_text(OWN, encoding="utf-8")
    real.chmod(0o640)
    (tmp_path / "ride.surface.csv").symlink_to(real)
    save(tag_file(tmp_path), paint(5500.0, 6000.0, "sand"))
    assert (tmp_path / "ride.surface.csv").is_symlink()
    assert "sand" in real.read_text(encoding="utf-8")
    assert real.stat().st_mode & 0o777 == 0o640


def test_folder_that_is_gone(tmp_path: Path) -> None:
    folder = tmp_path / "gone"
    folder.mkdir()
    file = tag_file(folder)
    folder.rmdir()
    with pytest.raises(OutputError, match=r"ride\.surface\.csv: cannot be written"):
        file.save(surface((0.0, 500.0, "sand")), ABSENT)


FEATURE = {
    "type": "Feature",
    "properties": {"surface": "sand"},
    "geometry": {"type": "LineString", "coordinates": [[7.0, 46.0], [7.001, 46.0]]},
}


def test_place_is_added_once_per_version(tmp_path: Path) -> None:
    file = place_file(tmp_path)
    file.add(FEATURE, ABSENT)
    with pytest.raises(ChangedOnDisk):
        file.add(FEATURE, ABSENT)
    file.add(FEATURE, file.version())
    assert [line.surface for line in file.load().lines] == ["sand", "sand"]


def test_nothing_is_added_to_damaged_places(tmp_path: Path) -> None:
    file = place_file(tmp_path, "{")
    with pytest.raises(SideFileError):
        file.add(FEATURE, file.version())
    assert file.path.read_text(encoding="utf-8") == "{"
