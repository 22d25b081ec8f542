"""A report in a notebook: what the verb writes, as frames and plain values."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Unpack

from wherewatt.columns import Column, as_declared
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem
from wherewatt.ingest.track import Note
from wherewatt.library import Library
from wherewatt.notebook.columns import CALLOUT_COLUMNS, VOLTAGE_COLUMNS
from wherewatt.notebook.given import AnyPath, Given, check_keywords, put_beside
from wherewatt.notebook.reading import RecordedRide, as_found, config_of
from wherewatt.pipeline import analyse_for_page, open_tiles
from wherewatt.report import tables, view
from wherewatt.report.files import write_result
from wherewatt.report.result import RideResult
from wherewatt.report.wording import plain
from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class RideReport:
    """Where the energy of a ride went; a cell that ends with it shows the report in short.

    Parameters
    ----------
    sections : one row per section, as in sections.csv.
    legs : one row per leg, as in legs.parquet.
    callouts : the display against the estimate at each call-out: the columns of
        `wherewatt.notebook.columns.CALLOUT_COLUMNS`.
    voltages : the same of called-out voltages: those of `VOLTAGE_COLUMNS` there.
    summary : the ride in one document, that of summary.json.
    notes : everything odd, and what was done about it.
    result : all that is known of the ride, as arrays.
    unit : unit of distance for people; frames are metric.
    library : folder that the ride started from, if it did.
    """

    sections: pd.DataFrame
    legs: pd.DataFrame
    callouts: pd.DataFrame
    voltages: pd.DataFrame
    summary: dict[str, Any]
    notes: tuple[Note, ...]
    result: RideResult
    unit: DistanceUnit
    library: Library | None

    @property
    def name(self) -> str:
        """Name of the ride."""
        return self.result.name

    def save(self, folder: AnyPath = "reports") -> Path:
        """Write what the report verb writes, into a folder of the ride's name in this folder.

        If the ride was reported with a library, it is added to that, as the verb does. Changes
        that were made to the frames are not written.

        Returns
        -------
        Path
            The folder of the ride.

        Raises
        ------
        OutputError
            If something cannot be written.
        """
        target = Path(folder) / self.name
        write_result(self.result, target, self.unit)
        if self.library is not None and self.result.learned is not None:
            self.library.keep(self.result.learned)
        return target

    def __repr__(self) -> str:
        answer = view.headline(self.result, self.unit)
        lines = [plain(self.name)]
        for quantity in answer:
            within = f", 90 % interval {quantity.interval}" if quantity.interval else ""
            lines.append(f"  {quantity.name}: {quantity.value}{within}")
        frames = f".sections has {len(self.sections)} rows, .legs {len(self.legs)}"
        return "\n".join(
            [*lines, f"  {frames}, .callouts {len(self.callouts)}; .notes {len(self.notes)}"]
        )

    def _repr_html_(self) -> str:
        from wherewatt.notebook.fragments import report_fragment  # slow to load

        return report_fragment(self)


def report(
    track: RecordedRide | AnyPath,
    *,
    tiles: AnyPath | Iterable[AnyPath] = (),
    fetch_tiles: bool = False,
    library: AnyPath | None = None,
    config: Config | AnyPath | None = None,
    units: DistanceUnit | str = DistanceUnit.KM,
    **given: Unpack[Given],
) -> RideReport:
    """Report where the energy of a ride went; nothing is written.

    Parameters
    ----------
    track : a file, or what `read` gave: that is reported from its file, with what was given to
        `read` and its configuration.
    tiles : folders of terrain tiles (.hgt or GeoTIFF), the preferred one first.
    fetch_tiles : whether missing tiles are fetched from the network.
    library : folder that remembers what each ride said of its vehicle, to start from; the ride is
        added to it by `RideReport.save`.
    config : configuration, or a folder that holds one; the shipped one by default.
    units : "km" or "mi", of what a person reads; frames are metric.
    callouts, tags, pack_log, sheet, places : instead of the files beside the track; see `read`.

    Raises
    ------
    InputError
        If the track, anything beside it, a terrain tile or a file of the library cannot be used.
    ConfigError
        If the configuration is wrong.
    EstimateError
        If the numbers do not allow an estimate.
    """
    check_keywords(given)
    unit, path = _unit(units), Path(track.path if isinstance(track, RecordedRide) else track)
    settings = config_of(config)
    if isinstance(track, RecordedRide):
        given = track.given | given
        settings = track.config if config is None else settings
    shelf = None if library is None else Library(Path(library))
    opened = open_tiles(_folders(tiles), fetch=fetch_tiles)
    with put_beside(path, given) as laid:
        result = analyse_for_page(laid, opened, settings, shelf)
    result = replace(result, recording=as_found(result.recording, path))
    return _report(result, unit, shelf)


def _report(result: RideResult, unit: DistanceUnit, library: Library | None) -> RideReport:
    summary = tables.summary(result)
    display = [
        {"estimated_pct_sd" if name == "sd" else name: value for name, value in row.items()}
        for row in summary["display"]
    ]
    return RideReport(
        sections=tables.sections_frame(result),
        legs=tables.legs_frame(result),
        callouts=_frame(display, CALLOUT_COLUMNS),
        voltages=_frame(summary["voltages"], VOLTAGE_COLUMNS),
        summary=summary,
        notes=result.notes,
        result=result,
        unit=unit,
        library=library,
    )


def _frame(rows: Sequence[dict[str, Any]], columns: tuple[Column, ...]) -> pd.DataFrame:
    import pandas as pd  # slow to load

    names = [column.name for column in columns]
    return as_declared(pd.DataFrame(list(rows), columns=names), columns)


def _folders(tiles: AnyPath | Iterable[AnyPath]) -> list[Path]:
    return [Path(folder) for folder in ([tiles] if isinstance(tiles, str | os.PathLike) else tiles)]


def _unit(units: DistanceUnit | str) -> DistanceUnit:
    try:
        return DistanceUnit(units)
    except ValueError as error:
        expected = " or ".join(f"'{unit}'" for unit in DistanceUnit)
        raise InputError(Problem("units", "", f"'{units}'", expected)) from error
