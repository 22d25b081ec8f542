"""The track as recorded: what every reader returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wherewatt.arrays import FloatArray, IntArray

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Note:
    """Something odd in the input and what was done about it."""

    code: str
    message: str


class MarkKind(StrEnum):
    """What a mark in a recording says."""

    START = "start"
    STOP = "stop"
    LAP = "lap"
    SESSION = "session"


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment that the device set apart.

    Parameters
    ----------
    kind : what happened; a lap or session is marked at its end.
    unix_ns : when [ns since 1970]; None if not recorded.
    started_unix_ns : when the lap or session began; None if not recorded, and for starts and stops.
    """

    kind: MarkKind
    unix_ns: int | None
    started_unix_ns: int | None = None


# What a point may hold beside its time, by name of its column.
QUANTITIES = (
    "latitude_deg",
    "longitude_deg",
    "elevation_m",
    "speed_m_s",
    "odometer_m",
    "rider_w",
    "cadence_rpm",
    "temperature_c",
    "battery_v",
    "battery_a",
)


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Points as recorded, in the order of the file; nothing cleaned, nothing derived.

    Arrays have shape (n,) and dtype float64; NaN means "not recorded" (zero is a value).

    Parameters
    ----------
    source : file the track came from.
    sha256 : hash of the file's bytes as on disk, hexadecimal.
    start_unix_ns : UTC of the first timed point [ns since 1970]; None if no point has a time.
    time_s : time since `start_unix_ns` [s].
    latitude_deg, longitude_deg : WGS 84 [degree].
    elevation_m : height as recorded [m].
    speed_m_s : speed as recorded by the device [m/s].
    odometer_m : distance as counted by the device [m].
    rider_w : power at the pedals as recorded [W].
    cadence_rpm : cadence as recorded [1/min].
    temperature_c : temperature at the device [°C].
    battery_v, battery_a : voltage and current of the vehicle's battery from a logger [V], [A].
    developer : further fields of a FIT file by name, as recorded, in their own units.
    marks : laps, sessions, and starts and stops of the device's timer, in the order of the file.
    notes : what was odd in the file.

    Raises
    ------
    ValueError
        If the arrays differ in length (an error of the reader, not of the user).
    """

    source: Path
    sha256: str
    start_unix_ns: int | None
    time_s: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    elevation_m: FloatArray
    speed_m_s: FloatArray
    odometer_m: FloatArray
    rider_w: FloatArray
    cadence_rpm: FloatArray
    temperature_c: FloatArray
    battery_v: FloatArray
    battery_a: FloatArray
    developer: Mapping[str, FloatArray] = field(default_factory=dict)
    marks: tuple[Mark, ...] = field(default=())
    notes: tuple[Note, ...] = field(default=())

    def __post_init__(self) -> None:
        columns = (*self.columns.values(), *self.developer.values())
        if len({len(values) for values in columns}) != 1:
            raise ValueError("track arrays differ in length")

    @property
    def columns(self) -> dict[str, FloatArray]:
        """The point arrays by name."""
        return {name: getattr(self, name) for name in ("time_s", *QUANTITIES)}

    def at(self, index: slice | IntArray) -> Track:
        """The track with only the points chosen by a slice or by their numbers."""
        chosen: dict[str, Any] = {name: values[index] for name, values in self.columns.items()}
        developer = {name: values[index] for name, values in self.developer.items()}
        return replace(self, **chosen, developer=developer)

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def stem(self) -> str:
        """File name without the endings .gpx, .fit and .gz: the name of the ride."""
        return track_stem(self.source)

    def to_frame(self) -> pd.DataFrame:
        """Return the points as a DataFrame, one row per point."""
        import pandas as pd  # slow to import, and only needed here

        return pd.DataFrame({**self.columns, **self.developer})


def track_stem(path: Path) -> str:
    """Name of a ride: file name without .gz and the format's ending."""
    name = path.name
    if name.lower().endswith(".gz"):
        name = name[:-3]
    return Path(name).stem
