"""The work of a watch: a report, as the report verb makes it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from wherewatt.inbox.job import Made
from wherewatt.units import DistanceUnit

# What the readers note of a file that breaks off.
_CUT_SHORT = "file-cut-short"


@dataclass(frozen=True, slots=True)
class ReportWork:
    """Makes reports; see `Work`.

    Parameters
    ----------
    terrain : folders of terrain tiles.
    unit : unit of distance for people.
    fetch_terrain : whether missing tiles are fetched from the network.
    library : folder that remembers what each ride said of its vehicle; a ride starts from what it
        holds by then, so rides that come later know more than those before them.
    """

    terrain: tuple[Path, ...]
    unit: DistanceUnit = DistanceUnit.KM
    fetch_terrain: bool = False
    library: Path | None = None

    @property
    def key(self) -> str:
        """Hash of the configuration, the options, and the names and sizes of the tiles.

        Not of what the library holds: every ride would have all others reported again.

        Raises
        ------
        WherewattError
            If the configuration or a folder of tiles cannot be used.
        """
        from wherewatt.config import load_config
        from wherewatt.pipeline import open_tiles

        open_tiles(self.terrain)  # says so if a folder is not there
        tiles = [
            (path.name, path.stat().st_size)
            for folder in self.terrain
            for path in sorted(folder.iterdir())
            if path.is_file()
        ]
        library = str(self.library.absolute()) if self.library else ""
        everything = (load_config(), tiles, self.unit.value, self.fetch_terrain, library)
        return hashlib.sha256(repr(everything).encode()).hexdigest()

    def __call__(self, track: Path, folder: Path) -> Made:
        """Analyse a track and write its report into a folder.

        Raises
        ------
        WherewattError
            If the track cannot be used, or the report not written.
        """
        # Imported here: the watch itself never needs them, only its workers do.
        from wherewatt.config import load_config
        from wherewatt.inbox.learning import remember
        from wherewatt.library import Library
        from wherewatt.pipeline import analyse_for_page, open_tiles
        from wherewatt.report.files import write_result

        # Tiles are opened anew each time: kept open, they would fill the memory in the end.
        tiles = open_tiles(self.terrain, fetch=self.fetch_terrain)
        library = Library(self.library) if self.library else None
        result = analyse_for_page(track, tiles, load_config(), library)
        write_result(result, folder, self.unit)
        if library:
            # Should the result not take its place, the ride comes again and says it anew.
            remember(library, result)
        distance = result.ride.distance_m[-1] / self.unit.metres
        energy_wh = result.ledger.total.mean
        return Made(
            f"{distance:.1f} {self.unit}, {energy_wh:.0f} Wh",
            whole=all(note.code != _CUT_SHORT for note in result.notes),
        )
