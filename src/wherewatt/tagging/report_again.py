"""The report of the ride, made anew from what lies on disk."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path

from wherewatt.config import Config
from wherewatt.ingest.track import track_stem
from wherewatt.pipeline import analyse_for_page
from wherewatt.report.files import PAGE_NAME, write_result
from wherewatt.report.tables import summary
from wherewatt.terrain.tiles import TileFolder
from wherewatt.units import DistanceUnit


@dataclass(frozen=True, slots=True, eq=False)
class Reporter:
    """Makes the report of one ride; one at a time.

    Parameters
    ----------
    track : the ride.
    out : folder of reports; the ride's own lies in it.
    tiles : terrain.
    config : settings.
    unit : unit of distance for people.
    """

    track: Path
    out: Path
    tiles: TileFolder
    config: Config
    unit: DistanceUnit
    _turn: threading.Lock = field(default_factory=threading.Lock)

    @property
    def page(self) -> Path:
        """Where the finished report lies, or would."""
        return self.out / track_stem(self.track) / PAGE_NAME

    def report(self) -> dict[str, object]:
        """Write the report; returns its energy [Wh] with the 90 % interval.

        Raises
        ------
        WherewattError
            If the ride cannot be used, or the report not written.
        """
        with self._turn:
            result = analyse_for_page(self.track, self.tiles, self.config)
            write_result(result, self.page.parent, self.unit)
        energy: dict[str, object] = summary(result)["energy"]["battery_wh"]
        return energy
