"""A recording in a notebook: cleaned points, and what was odd."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

import numpy as np

from wherewatt.columns import as_declared
from wherewatt.config import Config, load_config
from wherewatt.ingest.recording import Recording
from wherewatt.ingest.track import Note
from wherewatt.motion.ride import Ride
from wherewatt.notebook.columns import POINT_COLUMNS
from wherewatt.notebook.given import AnyPath, Given, check_keywords, put_beside
from wherewatt.pipeline import read_ride
from wherewatt.report.times import clock, iso_start
from wherewatt.report.wording import duration, plain
from wherewatt.text import counted

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class RecordedRide:
    """A ride as recorded, cleaned; a cell that ends with it shows its shape.

    Parameters
    ----------
    points : one row per point: the columns of `wherewatt.notebook.columns.POINT_COLUMNS`.
    notes : everything odd, and what was done about it.
    recording : the track and its side files, as read.
    ride : the cleaned points and the legs between them, as arrays.
    given : what was given beside the track.
    config : what it was read with.
    path : where the track lies.
    """

    points: pd.DataFrame
    notes: tuple[Note, ...]
    recording: Recording
    ride: Ride
    given: Given
    config: Config
    path: Path

    @property
    def name(self) -> str:
        """Name of the ride."""
        return self.recording.track.stem

    @property
    def sampling_s(self) -> float:
        """Median time between points [s]."""
        return float(np.median(self.ride.leg_time_s))

    @property
    def facts(self) -> dict[str, str]:
        """Length, duration, sampling and what lies beside the track, in words."""
        ride = self.ride
        moving = float(np.sum(ride.leg_time_s[~ride.standing]))
        longest = float(np.max(ride.leg_time_s))
        return {
            "Started": iso_start(ride),
            "Length": f"{ride.distance_m[-1] / 1000.0:.2f} km",
            "Duration": f"{duration(float(ride.time_s[-1]))}, {duration(moving)} of it moving, "
            f"{counted(len(ride.stops), 'stop')}",
            "Sampling": f"{len(ride.time_s)} points, {self.sampling_s:g} s apart (median), "
            f"at most {longest:g} s",
            "Beside it": self._beside(),
        }

    def _beside(self) -> str:
        recording = self.recording
        found = [
            counted(len(items), name)
            for items, name in (
                (recording.call_outs, "call-out"),
                (recording.tags, "tag"),
                (recording.places, "tagged line"),
            )
            if items
        ]
        sheet = recording.sheet
        found += ["a ride sheet"] if sheet != type(sheet)() else []
        found += ["a pack log"] if recording.pack_log is not None else []
        return ", ".join(found) or "nothing"

    def __repr__(self) -> str:
        lines = [plain(self.name), *(f"  {name}: {said}" for name, said in self.facts.items())]
        return "\n".join(
            [*lines, f"  .points has {len(self.points)} rows; .notes {len(self.notes)}"]
        )

    def _repr_html_(self) -> str:
        from wherewatt.notebook.fragments import ride_fragment  # slow to load

        return ride_fragment(self)


def read(
    track: AnyPath, *, config: Config | AnyPath | None = None, **given: Unpack[Given]
) -> RecordedRide:
    """Read a recording with the files beside it, and clean it.

    Parameters
    ----------
    track : GPX, FIT, TCX or CSV file, also .gz.
    config : configuration, or a folder that holds one; the shipped one by default.
    callouts, tags, pack_log : instead of the file beside the track: the path of another, or a
        table with its columns.
    sheet : instead of the ride sheet beside the track: the path of another, or its tables and
        keys, as in ``{"rider": {"mass_kg": 80}}``.
    places : instead of ``places.geojson`` beside the track: the path of another.

    Raises
    ------
    InputError
        If the track, or anything beside it, cannot be used.
    ConfigError
        If the configuration is wrong.
    """
    check_keywords(given)
    path, settings = Path(track), config_of(config)
    with put_beside(path, given) as laid:
        recording, ride = read_ride(laid, settings)
    recording = as_found(recording, path)
    return RecordedRide(
        points=_points(ride),
        notes=ride.notes,
        recording=recording,
        ride=ride,
        given=given,
        config=settings,
        path=path.absolute(),
    )


def config_of(config: Config | AnyPath | None) -> Config:
    """The configuration that is meant.

    Raises
    ------
    ConfigError
        If a file of its folder is missing or wrong.
    """
    if isinstance(config, Config):
        return config
    return load_config(None if config is None else Path(config))


def as_found(recording: Recording, path: Path) -> Recording:
    """A recording with its track where it lies, not where it was copied to for the reading."""
    return replace(recording, track=replace(recording.track, source=path))


def _points(ride: Ride) -> pd.DataFrame:
    import pandas as pd  # slow to load

    columns = {
        column.name: getattr(ride, column.name) for column in POINT_COLUMNS if column.name != "time"
    }
    time = pd.DatetimeIndex(clock(ride, ride.time_s), tz="UTC")
    return as_declared(pd.DataFrame({"time": time, **columns}), POINT_COLUMNS)
