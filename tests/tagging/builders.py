"""A ride beside which tags are written."""

from __future__ import annotations

from pathlib import Path

from tests.motion.builders import plain_ride
from wherewatt.config import load_config
from wherewatt.tagging.edits import Stretch, Tags
from wherewatt.tagging.store import PlaceFile, TagFile

SURFACES = tuple(load_config().surfaces)


def tag_file(folder: Path, text: str | None = None, *, readings: str = "") -> TagFile:
    """Tags of a ride of 6,900 m along the equator that stands still from 300 to 330 s."""
    if text is not None:
        (folder / "ride.surface.csv").write_bytes(text.encode())
    if readings:
        (folder / "ride.readings.csv").write_text(readings, encoding="utf-8")
    return TagFile(folder / "ride.gpx", plain_ride(), SURFACES)


def place_file(folder: Path, text: str | None = None) -> PlaceFile:
    if text is not None:
        (folder / "places.geojson").write_bytes(text.encode())
    return PlaceFile(folder / "ride.gpx", SURFACES)


def surface(*stretches: tuple[float, float, str]) -> Tags:
    return Tags(surface=tuple(Stretch(*one) for one in stretches))
