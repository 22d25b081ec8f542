"""The two files of a ride that hold its tags: loaded as they are now, saved if unchanged."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wherewatt.errors import InputError, OutputError, display_name
from wherewatt.ingest.place import Place, PlaceKind
from wherewatt.ingest.places import TaggedLine, read_places
from wherewatt.ingest.readings import read_readings
from wherewatt.ingest.recording import PLACES_NAME, READINGS_ENDING, TAGS_ENDING
from wherewatt.ingest.sidefile import ProblemList, read_table
from wherewatt.ingest.tags import OPTIONAL, REQUIRED, SurfaceTag, read_tags
from wherewatt.ingest.track import track_stem
from wherewatt.motion.locate import Locator
from wherewatt.motion.ride import Ride
from wherewatt.sections.surface import timed_tags
from wherewatt.tagging.edits import Tags
from wherewatt.tagging.files import (
    Snapshot,
    refuse_changed,
    take_snapshot,
    write_unless_changed,
)
from wherewatt.tagging.lines import with_feature
from wherewatt.tagging.rows import (
    PlacedRow,
    compose,
    kilometres,
    same_tags,
    tags_of,
    words_of_edges,
)

WRITTEN_TO_M = 1.0  # how far an edge may lie off once it is written


@dataclass(frozen=True, slots=True, eq=False)
class LoadedTags:
    """Tags as they stand in their file, and which version of it that was."""

    version: str
    tags: Tags


@dataclass(frozen=True, slots=True, eq=False)
class LoadedPlaces:
    """Tagged places as they stand in their file, and which version of it that was."""

    version: str
    lines: tuple[TaggedLine, ...]


@dataclass(frozen=True, slots=True, eq=False)
class TagFile:
    """``ride.surface.csv`` of a ride.

    Parameters
    ----------
    track : the track that it lies beside.
    ride : the ride, on which its places are found.
    known_surfaces : what a surface may be called.
    """

    track: Path
    ride: Ride
    known_surfaces: Collection[str]

    @property
    def path(self) -> Path:
        """Where it lies, or would."""
        return self.track.with_name(track_stem(self.track) + TAGS_ENDING)

    def version(self) -> str:
        """Version on disk now."""
        return take_snapshot(self.path).version

    def load(self) -> LoadedTags:
        """Read the tags.

        Raises
        ------
        SideFileError
            If they, or the call-outs that tell how far the odometer ran off, cannot be used.
        """
        snapshot = take_snapshot(self.path)
        rows, _ = self._placed(snapshot, self._call_outs())
        return LoadedTags(snapshot.version, tags_of(rows))

    def save(self, wanted: Tags, seen: str) -> None:
        """Write other tags, if the file still is the version that was seen.

        Rows that still hold stay as they are. Before it is put in place, the new file is read
        again: it has to say what was wanted.

        Raises
        ------
        ChangedOnDisk
            If the file is another version now.
        SideFileError
            If the call-outs cannot be read.
        OutputError
            If the file cannot be written.
        """
        snapshot, call_outs = take_snapshot(self.path), self._call_outs()
        refuse_changed(snapshot, seen)
        try:
            rows, locator = self._placed(snapshot, call_outs)
            text = snapshot.text()
        except InputError:  # damaged, and whoever saves has been told so: it is written anew
            rows, locator, text = (), Locator.fitted(self.ride, call_outs), ""
        if snapshot.data is None and wanted == Tags():
            return
        data = self._composed(snapshot, text, rows, locator, wanted)
        if not self._says(data, call_outs, wanted):
            plain = Locator.fitted(self.ride, call_outs)
            data = self._composed(snapshot, text, rows, plain, wanted, anew=True)
            if not self._says(data, call_outs, wanted):
                raise OutputError(f"{self.path.name}: these tags cannot be written to the metre")
        write_unless_changed(self.path, data, seen)

    def _composed(
        self,
        snapshot: Snapshot,
        text: str,
        rows: Sequence[PlacedRow],
        locator: Locator,
        wanted: Tags,
        *,
        anew: bool = False,
    ) -> bytes:
        """The new file; `anew`: with every row and every place in it written anew."""
        most_m = float(self.ride.distance_m[-1]) / locator.odometer_scale

        def own_words(distance_m: float) -> str:
            return kilometres(distance_m / locator.odometer_scale, most_m)

        words = own_words if anew else words_of_edges(rows, own_words)
        return snapshot.encoded(compose(text, rows, wanted, words, anew=anew))

    def _says(self, data: bytes, call_outs: Sequence[Place], wanted: Tags) -> bool:
        """Whether a new file is read as it is meant."""
        try:
            rows, _ = self._placed(Snapshot(self.path, data), call_outs)
        except InputError:
            return False
        return same_tags(tags_of(rows), wanted, WRITTEN_TO_M)

    def _placed(
        self, snapshot: Snapshot, call_outs: Sequence[Place]
    ) -> tuple[tuple[PlacedRow, ...], Locator]:
        """Rows of the file on the ride, and what placed them."""
        if snapshot.data is None:
            return (), Locator.fitted(self.ride, call_outs)
        with snapshot.as_file() as copy:
            tags = read_tags(copy, self.known_surfaces)
            notes = {
                row.line: row.cells.get("note", "")
                for row in read_table(ProblemList(copy), required=REQUIRED, optional=OPTIONAL)
            }
        edges = [place for tag in tags for place in (tag.start, tag.end)]
        locator = Locator.fitted(self.ride, [*call_outs, *edges])
        timed_tags(tags, locator, display_name(self.path))  # complains of what lies off the ride
        return tuple(_placed_row(tag, notes[tag.line], locator) for tag in tags), locator

    def _call_outs(self) -> list[Place]:
        path = self.track.with_name(track_stem(self.track) + READINGS_ENDING)
        return [call_out.at for call_out in read_readings(path)] if path.exists() else []


@dataclass(frozen=True, slots=True, eq=False)
class PlaceFile:
    """``places.geojson`` in the folder of a track."""

    track: Path
    known_surfaces: Collection[str]

    @property
    def path(self) -> Path:
        """Where it lies, or would."""
        return self.track.with_name(PLACES_NAME)

    def version(self) -> str:
        """Version on disk now."""
        return take_snapshot(self.path).version

    def load(self) -> LoadedPlaces:
        """Read the tagged places.

        Raises
        ------
        SideFileError
            If they cannot be used.
        """
        snapshot = take_snapshot(self.path)
        return LoadedPlaces(snapshot.version, self._lines(snapshot))

    def add(self, feature: dict[str, object], seen: str) -> None:
        """Add a place after the others, if the file still is the version that was seen.

        Parameters
        ----------
        feature : the place, as GeoJSON.
        seen : version of the file.

        Raises
        ------
        ChangedOnDisk
            If the file is another version now.
        SideFileError
            If the file is wrong as it is: nothing is added to what cannot be read.
        OutputError
            If the file cannot be written.
        """
        snapshot = take_snapshot(self.path)
        refuse_changed(snapshot, seen)
        self._lines(snapshot)
        data = snapshot.encoded(with_feature(snapshot.text(), feature))
        self._lines(Snapshot(self.path, data))
        write_unless_changed(self.path, data, seen)

    def _lines(self, snapshot: Snapshot) -> tuple[TaggedLine, ...]:
        if snapshot.data is None:
            return ()
        with snapshot.as_file() as copy:
            return read_places(copy, self.known_surfaces)


def _placed_row(tag: SurfaceTag, note: str, locator: Locator) -> PlacedRow:
    return PlacedRow(
        line=tag.line,
        start_m=_distance(tag.start, locator),
        end_m=_distance(tag.end, locator),
        surface=tag.surface,
        structure=tag.structure,
        note=note,
        from_text=tag.start.text,
        to_text=tag.end.text,
    )


def _distance(place: Place, locator: Locator) -> float:
    """Distance from the start [m]."""
    ride = locator.ride
    if place.kind is PlaceKind.DISTANCE:
        return min(place.value * locator.odometer_scale, float(ride.distance_m[-1]))
    return float(np.interp(locator.time_s(place), ride.time_s, ride.distance_m))
