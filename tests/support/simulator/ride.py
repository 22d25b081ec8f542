"""Simulate a ride from a character and a seed, and write what its rider would have."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .battery import Discharge, discharge, draw_battery, draw_large_battery
from .characters import CHARACTERS, Character
from .course import STEP_M, Course, build_course
from .display import CallOut, Sight, call_outs, display_percent
from .drive import DT_S, LONGEST_S, DriveLog, drive
from .fit_writer import write_fit
from .noise import FloatArray
from .recorder import RecordedTrack, Recorder, TrueMotion, record
from .sheet import RideSheet, note_down
from .tags import Tag, tag_surfaces
from .truth import Truth
from .vehicle import draw_style, draw_vehicle
from .wind import draw_weather
from .writers import write_gpx, write_readings, write_surface, write_tile

SIDE_FILES = ("readings", "surface", "sheet")
FORMATS = ("gpx", "fit")
OWNED = {"scooter": 0.4, "fast_scooter": 0.3, "ebike": 0.3}


@dataclass(frozen=True, slots=True)
class SimulatedRide:
    """A ride: the truth, and what was recorded, read, tagged and noted of it.

    Attributes
    ----------
    character, seed : str, int
        What it was drawn from.
    units : str
        ``"km"`` or ``"mi"``: what the rider speaks and writes in.
    truth : Truth
        What truly happened; no estimator may see it.
    track : RecordedTrack
        The track as recorded.
    shown_pct : array, shape (n + 1,)
        The battery display at every instant of the truth.
    call_outs : tuple of CallOut
    tags : tuple of Tag
    sheet : RideSheet
    """

    character: str
    seed: int
    units: str
    truth: Truth
    track: RecordedTrack
    shown_pct: FloatArray
    call_outs: tuple[CallOut, ...]
    tags: tuple[Tag, ...]
    sheet: RideSheet

    def write(
        self,
        folder: Path,
        *,
        stem: str | None = None,
        format: str = "gpx",
        side_files: Collection[str] = SIDE_FILES,
        recharge: bool = False,
        metered: bool = False,
        structures: bool = True,
    ) -> Path:
        """Write the track and its side files.

        Parameters
        ----------
        folder : pathlib.Path
            Where to; made if missing.
        stem : str, optional
            Name of the files without suffix; ``<character>_<seed>`` when not given.
        format : str
            ``"gpx"`` or ``"fit"``.
        side_files : collection of str
            Which of ``"readings"``, ``"surface"``, ``"sheet"``.
        recharge, metered : bool
            Whether the sheet tells the wall energy; the reading of a pack meter.
        structures : bool
            Whether the surface tags tell the bridges.

        Returns
        -------
        pathlib.Path
            The track file.

        Raises
        ------
        ValueError
            If `format` or a side file is unknown.
        """
        if format not in FORMATS:
            raise ValueError(f"format: expected one of {FORMATS}, got {format!r}")
        unknown = set(side_files) - set(SIDE_FILES)
        if unknown:
            raise ValueError(f"side_files: expected some of {SIDE_FILES}, got {sorted(unknown)}")
        folder.mkdir(parents=True, exist_ok=True)
        stem = stem or f"{self.character}_{self.seed}"
        path = folder / f"{stem}.{format}"
        if format == "fit":
            write_fit(path, self.track)
        else:
            write_gpx(path, self.track, stem)
        if "readings" in side_files:
            write_readings(folder / f"{stem}.readings.csv", self.call_outs)
        if "surface" in side_files:
            write_surface(folder / f"{stem}.surface.csv", self.tags, structures=structures)
        if "sheet" in side_files:
            text = self.sheet.as_toml(
                recharge=recharge, metered=metered, imperial=self.units == "mi"
            )
            (folder / f"{stem}.toml").write_text(text, encoding="utf-8")
        return path

    def write_tile(self, folder: Path, arc_seconds: int = 3, *, zipped: bool = False) -> Path:
        """Write the terrain tile of the island (the same for every ride) and return its path."""
        return write_tile(folder, arc_seconds, zipped=zipped)


def simulate(
    character: str,
    seed: int,
    *,
    recorder: str | None = None,
    sampling_s: float | None = None,
    units: str | None = None,
    garage: int | None = None,
) -> SimulatedRide:
    """Simulate a ride.

    The same character and seed always give the same truth; recorder, sampling and units change
    only what is made of it.

    Parameters
    ----------
    character : str
        ``commuter``, ``hilly``, ``city``, ``trail``, ``windy`` or ``mountain``.
    seed : int
        Which ride of that character.
    recorder : str, optional
        ``"phone"`` or ``"computer"``; drawn when not given.
    sampling_s : float, optional
        Time between recorded points [s]; 0 for irregular steps of 1 to 10 s; drawn when not given.
    units : str, optional
        ``"km"`` or ``"mi"``; drawn when not given.
    garage : int, optional
        Number of an owner: rides of one number have the same vehicle, rider, pack and display.

    Returns
    -------
    SimulatedRide

    Raises
    ------
    ValueError
        If the character, recorder or units are unknown.
    """
    if character not in CHARACTERS:
        raise ValueError(f"character: expected one of {tuple(CHARACTERS)}, got {character!r}")
    if units not in (None, "km", "mi"):
        raise ValueError(f"units: expected 'km' or 'mi', got {units!r}")
    drawn = CHARACTERS[character]
    root = np.random.default_rng([seed, list(CHARACTERS).index(character)])
    of_truth, of_record, of_display, of_tags, of_sheet = root.spawn(5)
    owner = None if garage is None else np.random.default_rng([garage, 77])
    truth, pack, course = _ride(drawn, seed, of_truth, owner)
    kind = Recorder(recorder) if recorder else _draw_recorder(drawn, of_record)
    scale = 1.0 + float(np.clip(of_record.normal(0.0, 0.004), -0.01, 0.01))
    motion = _motion(truth, course, scale)
    track = record(motion, kind, sampling_s, of_record)
    of_gauge = of_display if garage is None else np.random.default_rng([garage, 78])
    shown_pct = display_percent(truth.battery, pack, DT_S, of_gauge)
    units = units or str(of_display.choice(["km", "mi"], p=[0.75, 0.25]))
    sight = Sight(
        truth.time_s, motion.shown_distance_m, shown_pct, pack.voltage_v,
        _rested(truth), truth.start_unix_s, float(truth.course_m[-1]),
    )  # fmt: skip
    # A tagger works on the recorded track, so its distance is the one that counts.
    tagged_m = motion.shown_distance_m if kind is Recorder.COMPUTER else truth.course_m
    return SimulatedRide(
        character, seed, units, truth, track, shown_pct,
        call_outs(sight, units, of_display),
        tag_surfaces(tagged_m, truth.surface, truth.on_bridge, units, of_tags),
        note_down(truth.vehicle, truth.battery, pack, truth.total_wh, truth.weather, of_sheet),
    )  # fmt: skip


def _ride(
    character: Character,
    seed: int,
    rng: np.random.Generator,
    owner: np.random.Generator | None,
) -> tuple[Truth, Discharge, Course]:
    course = build_course(character, rng)
    kinds = character.vehicles if owner is None else OWNED
    vehicle, style = draw_vehicle(kinds, owner or rng), draw_style(owner or rng)
    weather = draw_weather(rng, character.wind_m_s, float(course.height_m[0]), LONGEST_S)
    log = drive(course, vehicle, style, weather, rng)
    battery_w = log.steps["battery_w"]
    if owner is None:
        smallest_wh = vehicle.smallest_pack_wh
        battery = draw_battery(vehicle.cells_in_series, smallest_wh, battery_w, DT_S, rng)
    else:
        battery = draw_large_battery(vehicle.cells_in_series, owner)
    pack = discharge(battery, battery_w, DT_S)
    middle_m = 0.5 * (log.course_m[1:] + log.course_m[:-1])
    cell = np.minimum((middle_m / STEP_M).astype(np.int64), course.surface.size - 1)
    truth = Truth(
        start_unix_s=_start_time(seed, rng),
        time_s=log.time_s,
        course_m=log.course_m,
        distance_m=log.distance_m,
        lat_deg=np.interp(log.course_m, course.course_m, course.lat_deg),
        lon_deg=np.interp(log.course_m, course.course_m, course.lon_deg),
        height_m=np.interp(log.course_m, course.course_m, course.height_m),
        speed_m_s=log.speed_m_s,
        soc=pack.soc,
        steps=log.steps,
        surface=course.surface[cell],
        on_bridge=_within(middle_m, course),
        standing=_standing(log),
        stops=log.stops,
        bridges=course.bridges,
        vehicle=vehicle,
        battery=battery,
        weather=weather,
    )
    return truth, pack, course


def _start_time(seed: int, rng: np.random.Generator) -> float:
    """Draw an invented moment in 2025, a whole second."""
    day = datetime(2025, 1, 6, tzinfo=UTC) + timedelta(days=(37 * seed) % 350)
    return (day + timedelta(seconds=int(rng.integers(6 * 3600, 18 * 3600)))).timestamp()


def _within(middle_m: FloatArray, course: Course) -> NDArray[np.bool_]:
    on_bridge = np.zeros(middle_m.size, dtype=bool)
    for bridge in course.bridges:
        on_bridge |= (middle_m >= bridge.start_m) & (middle_m < bridge.end_m)
    return on_bridge


def _standing(log: DriveLog) -> NDArray[np.bool_]:
    return np.diff(log.distance_m) == 0.0


def _rested(truth: Truth) -> NDArray[np.bool_]:
    """Instants by which the vehicle has stood for ten seconds."""
    rested = np.zeros(truth.time_s.size, dtype=bool)
    for from_s, to_s, _ in truth.stops:
        rested |= (truth.time_s >= from_s + 10.0) & (truth.time_s <= to_s)
    rested[0] = True
    return rested


def _draw_recorder(character: Character, rng: np.random.Generator) -> Recorder:
    return Recorder.PHONE if rng.random() < character.phone_share else Recorder.COMPUTER


def _motion(truth: Truth, course: Course, scale: float) -> TrueMotion:
    return TrueMotion(
        start_unix_s=truth.start_unix_s,
        time_s=truth.time_s,
        x_m=np.interp(truth.course_m, course.course_m, course.x_m),
        y_m=np.interp(truth.course_m, course.course_m, course.y_m),
        height_m=truth.height_m,
        speed_m_s=truth.speed_m_s,
        shown_distance_m=scale * truth.distance_m,
        pauses=[(from_s, to_s) for from_s, to_s, stop in truth.stops if stop.kind == "pause"],
    )
