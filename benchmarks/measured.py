"""Measured trips of others as rides of this package: a CSV log with its side files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from wherewatt.config import Config
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredTrip:
    """One measured trip.

    Parameters
    ----------
    name : name of its file, without ending.
    log : one row per point, columns as of a CSV log.
    time_s : (n,) time of each point since the first [s].
    percent : (n,) state of charge as recorded [%].
    sheet : text of the ride sheet.
    """

    name: str
    log: pd.DataFrame
    time_s: np.ndarray
    percent: np.ndarray
    sheet: str

    @property
    def drop(self) -> float:
        """Percent at the first point less percent at the last."""
        return float(self.percent[0] - self.percent[-1])

    def whole_changes(self) -> np.ndarray:
        """Points at which the whole percent is another than before, the first and the last."""
        changed = np.flatnonzero(np.diff(np.rint(self.percent)) != 0.0) + 1
        return np.unique([0, *changed, len(self.percent) - 1])

    def counted_m(self) -> np.ndarray:
        """(n,) way by the recorded speed [m]."""
        speed = self.log["speed_kmh"].to_numpy() / 3.6
        legs = np.diff(self.time_s) * (speed[1:] + speed[:-1]) / 2.0
        return np.concatenate([[0.0], np.cumsum(legs)])

    def write(self, folder: Path, call_outs: pd.DataFrame) -> Path:
        """Write log, call-outs and sheet as a user would; return the log's path."""
        path = folder / f"{self.name}.csv"
        self.log.to_csv(path, index=False)
        call_outs.to_csv(folder / f"{self.name}.readings.csv", index=False)
        (folder / f"{self.name}.toml").write_text(self.sheet, encoding="utf-8")
        return path

    def analyse(self, folder: Path, points: np.ndarray, config: Config) -> RideResult:
        """Report the trip with call-outs of whole percent at the given points; no terrain."""
        call_outs = pd.DataFrame(
            {
                "at": self.log["time"].to_numpy()[points],
                "battery_pct": np.rint(self.percent[points]).astype(int),
            }
        )
        return analyse(self.write(folder, call_outs), TileFolder(()), config)
