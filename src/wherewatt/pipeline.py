"""One way through all rooms: a track and its side files in, a result out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from wherewatt.allocate.callouts import ShownPercent, shown_percent
from wherewatt.allocate.diagnostics import diagnose, doubtful_mass
from wherewatt.allocate.estimate import Estimate, estimate_ride
from wherewatt.allocate.evidence import Evidence
from wherewatt.allocate.ledger import build_ledger
from wherewatt.allocate.loads import Legs
from wherewatt.allocate.pack_log import PackLog, pack_log_of
from wherewatt.allocate.parameters import Parameters, handbook_of_vehicles, ride_parameters
from wherewatt.allocate.pool import factor_of, known_for
from wherewatt.allocate.voltage import ShownVoltage, shown_voltage, voltage_parameters
from wherewatt.allocate.weather import density_between
from wherewatt.arrays import BoolArray, FloatArray
from wherewatt.config import Config
from wherewatt.errors import InputError, Problem, SideFileError
from wherewatt.ingest.recording import READINGS_ENDING, TAGS_ENDING, Recording, read_recording
from wherewatt.ingest.sheet import RideSheet
from wherewatt.ingest.track import Note
from wherewatt.library import Facts, Learned, Library, RideMark, said_together
from wherewatt.motion.locate import Locator
from wherewatt.motion.ride import Ride
from wherewatt.motion.trace import trace_ride
from wherewatt.physics.battery import cell_of
from wherewatt.report.backdrop import take_backdrop
from wherewatt.report.result import RideResult
from wherewatt.report.times import start_second
from wherewatt.sections.cutting import Sections, cut_sections
from wherewatt.sections.places import at_structures
from wherewatt.sections.surface import UNTAGGED, TimedTag, timed_tags
from wherewatt.terrain.blend import blend_heights
from wherewatt.terrain.fetch import TileFetcher, cache_folder
from wherewatt.terrain.nodes import Nodes, nodes_of
from wherewatt.terrain.profile import Profile
from wherewatt.terrain.tiles import TileFolder, terrain_folders
from wherewatt.text import counted

T = TypeVar("T")

# Light electric vehicles end about here (90 km/h); common practice, no source.
LIGHT_VEHICLE_M_S = 25.0


@dataclass(frozen=True, slots=True)
class _SideData:
    shown: ShownPercent
    voltage: ShownVoltage
    tags: tuple[TimedTag, ...]
    notes: tuple[Note, ...]

    @property
    def moments_s(self) -> FloatArray:
        """Times at which legs have to end [s]."""
        tagged = [moment for tag in self.tags for moment in (tag.start_s, tag.end_s)]
        return np.concatenate([self.shown.time_s, self.voltage.time_s, tagged])


def open_tiles(folders: Sequence[Path], *, fetch: bool = False) -> TileFolder:
    """Terrain tiles from folders, then from SRTM.py's local cache; from the network if asked.

    Raises
    ------
    TerrainError
        If a folder is not there, or has GeoTIFFs but rasterio is not installed.
    """
    places = terrain_folders(tuple(folders))
    cache = cache_folder()
    if cache.is_dir():
        places += (cache,)
    return TileFolder(places, fetch=TileFetcher(cache) if fetch else None)


def read_ride(track_path: Path, config: Config) -> tuple[Recording, Ride]:
    """Read a track with its side files, and clean the track.

    Raises
    ------
    InputError
        If the track or a side file cannot be used.
    """
    recording = read_recording(
        track_path,
        known_surfaces=config.surfaces,
        vehicle_kinds=config.vehicles,
        limits=config.ingest,
    )
    return recording, trace_ride(recording.track, config.motion)


def analyse(
    track_path: Path, tiles: TileFolder, config: Config, library: Library | None = None
) -> RideResult:
    """Read a track with its side files and find where its energy went.

    Parameters
    ----------
    library : what other rides said of their vehicles, if that is to be used; the ride's own words
        are in the result, for the caller to keep.

    Raises
    ------
    InputError
        If the track, a side file, a terrain tile or a file of the library cannot be used.
    EstimateError
        If the numbers do not allow an estimate.
    """
    recording, ride = read_ride(track_path, config)
    side = _side_data(recording, ride)
    nodes = nodes_of(ride, config.terrain)
    terrain = tiles.survey(nodes.latitude_deg, nodes.longitude_deg)
    profile = blend_heights(
        nodes, terrain, config.terrain, _on_structure(ride, nodes, recording, side, config)
    )
    ride = ride.split(side.moments_s)
    sections = cut_sections(
        ride,
        profile,
        tags=side.tags,
        places=recording.places,
        settings=config.sections,
        place_settings=config.places,
    )
    evidence = _evidence(recording, sections, profile, side, config)
    estimate, learned, pool_notes = _pooled(estimate_ride(evidence), recording, config, library)
    notes = (
        *ride.notes,
        *side.notes,
        *terrain.notes,
        *profile.notes,
        *pool_notes,
        *_notes(recording, estimate, config),
    )
    return RideResult(recording, profile, estimate, build_ledger(estimate), notes, learned=learned)


def analyse_for_page(
    track_path: Path, tiles: TileFolder, config: Config, library: Library | None = None
) -> RideResult:
    """The same with the land around the ride, which a page draws its course on."""
    result = analyse(track_path, tiles, config, library)
    return replace(result, backdrop=take_backdrop(tiles, result.ride))


def _pooled(
    alone: Estimate, recording: Recording, config: Config, library: Library | None
) -> tuple[Estimate, Learned | None, list[Note]]:
    """The estimate with what other rides of the vehicle say, and what this one says of it."""
    if library is None:
        return alone, None, []
    sheet = recording.sheet
    vehicle = sheet.vehicle.name
    if not vehicle:
        message = "the ride sheet names no vehicle: the library is neither used nor added to"
        return alone, None, [Note("vehicle-unnamed", message)]
    ride = alone.evidence.sections.ride
    mark = RideMark(vehicle, recording.track.stem, recording.track.sha256, start_second(ride))
    facts = Facts(sheet.vehicle, sheet.weather.temperature_c, sheet.rider.mass_kg)
    learned = Learned(mark, factor_of(alone), facts)
    others = library.others(mark)
    if not others:
        return alone, learned, []
    said = said_together(others, sheet, priors=config.priors, assumed=config.assumed)
    handbook = handbook_of_vehicles(config.priors, config.surfaces, config.estimate)
    known = known_for(said, alone.evidence.parameters, handbook)
    estimate = estimate_ride(replace(alone.evidence, known=known))
    message = f"starts from what {counted(len(others), 'other ride')} of {vehicle} said of it"
    return estimate, learned, [Note("vehicle-known", message)]


def _side_data(recording: Recording, ride: Ride) -> _SideData:
    """Call-outs and tags placed on the ride; the problems of both files at once."""
    stem = recording.track.stem
    places = [call_out.at for call_out in recording.call_outs]
    places += [place for tag in recording.tags for place in (tag.start, tag.end)]
    locator = Locator.fitted(ride, places)
    problems: list[Problem] = []
    read, source = recording.call_outs, stem + READINGS_ENDING
    shown = _collected(problems, lambda: shown_percent(read, locator, source))
    voltage = None
    if shown is not None:  # else the same call-outs would be refused twice
        voltage = _collected(
            problems, lambda: shown_voltage(read, locator, recording.sheet, source)
        )
    tags = _collected(problems, lambda: timed_tags(recording.tags, locator, stem + TAGS_ENDING))
    if shown is None or voltage is None or tags is None:
        raise SideFileError(*problems)
    return _SideData(shown, voltage, tags, (*locator.notes, *voltage.notes))


def _collected(problems: list[Problem], place: Callable[[], T]) -> T | None:
    """What a step gives, or None with its problems added to the list."""
    try:
        return place()
    except InputError as error:
        problems += error.problems
        return None


def _on_structure(
    ride: Ride, nodes: Nodes, recording: Recording, side: _SideData, config: Config
) -> BoolArray:
    """(k,) True at nodes on a structure that the user tagged."""
    inside = at_structures(ride, nodes.time_s, recording.places, config.places)
    for tag in side.tags:
        if tag.structure:
            inside |= (nodes.time_s >= tag.start_s) & (nodes.time_s <= tag.end_s)
    return inside


def _evidence(
    recording: Recording,
    sections: Sections,
    profile: Profile,
    side: _SideData,
    config: Config,
) -> Evidence:
    legs = _legs(sections, profile, recording.sheet, config)
    pack_log = _pack_log(recording, sections.ride)
    sheet = recording.sheet
    pedals = bool(sheet.vehicle.pedal_assist)
    parameters = ride_parameters(
        sheet,
        legs.surfaces,
        priors=config.priors,
        surface_priors=config.surfaces,
        assumed=config.assumed,
        settings=config.estimate,
        pedalling_unknown=pedals and not np.isfinite(sections.ride.rider_w).any(),
        logged=pack_log is not None,
    )
    of_voltage = voltage_parameters(
        side.voltage, sheet, priors=config.priors, assumed=config.assumed
    )
    return Evidence(
        sections=sections,
        legs=legs,
        parameters=Parameters((*parameters.items, *of_voltage)),
        height_covariance=profile.covariance_at(sections.edge_m),
        shown=side.shown,
        recharge=recording.sheet.recharge,
        wind_speed_m_s=recording.sheet.weather.wind_speed_m_s or 0.0,
        settings=config.estimate,
        pack_log=pack_log,
        voltage=side.voltage,
        cell=cell_of(sheet.vehicle.battery_chemistry),
    )


def _pack_log(recording: Recording, ride: Ride) -> PackLog | None:
    """The energy a logger counted: in a file beside the track, or in the track itself."""
    for recorded in (recording.pack_log, recording.track):
        if recorded is not None and (log := pack_log_of(recorded, ride)) is not None:
            return log
    return None


def _legs(sections: Sections, profile: Profile, sheet: RideSheet, config: Config) -> Legs:
    ride = sections.ride
    height = profile.height_at(ride.distance_m)
    surfaces = tuple(sorted(set(sections.surface)))
    number = {name: index for index, name in enumerate(surfaces)}
    of_section = np.array([number[name] for name in sections.surface], dtype=np.intp)
    time_s, distance_m = ride.leg_time_s, ride.leg_distance_m
    rider_j = np.zeros(len(time_s))
    if sheet.vehicle.pedal_assist is not False and np.isfinite(ride.rider_w).any():
        rider_w = np.nan_to_num(ride.rider_w)
        rider_j = (rider_w[1:] + rider_w[:-1]) / 2.0 * time_s
    return Legs(
        time_s=time_s,
        distance_m=distance_m,
        speed_m_s=distance_m / time_s,
        rise_m=np.diff(height),
        square_speed_change=np.diff(np.square(ride.speed_m_s)),
        heading_rad=ride.heading_rad,
        density_kg_m3=density_between(height, sheet.weather, config.assumed),
        moving=~ride.standing,
        powered_s=np.minimum(time_s, config.motion.longest_pause_s),
        rider_j=rider_j,
        surface=of_section[sections.leg_section],
        surfaces=surfaces,
        rotating_mass_kg=config.assumed.rotating_mass_kg,
    )


def _notes(recording: Recording, estimate: Estimate, config: Config) -> list[Note]:
    """What a reader of the numbers has to know."""
    evidence = estimate.evidence
    notes = doubtful_mass(recording.sheet, config.priors, config.diagnostics)
    if evidence.pack_log is not None:
        notes += evidence.pack_log.notes
    elif recording.pack_log is not None:
        notes.append(Note("pack-log-elsewhere", "the pack log holds nothing of this ride's time"))
    call_outs = len(evidence.shown) + len(evidence.voltage)
    measured = (
        call_outs
        or evidence.pack_log is not None
        or any(
            value is not None
            for value in (evidence.recharge.wall_energy_wh, evidence.recharge.metered_wh)
        )
    )
    if not measured:
        message = "no call-outs and no recharge energy: this is the handbook's estimate"
        notes.append(Note("handbook-only", message))
    elif len(recording.call_outs) == 1:
        notes.append(Note("one-call-out", "one call-out says nothing about the energy used"))
    if recording.sheet == RideSheet():
        notes.append(Note("no-ride-sheet", "no ride sheet: masses, battery and wind are guesses"))
    untagged = np.array([name == UNTAGGED for name in evidence.sections.surface])
    metres = estimate.cells.sums(evidence.legs.distance_m)
    share = float(np.sum(metres[untagged[estimate.cells.section]]) / np.sum(metres))
    if share > 0.005:
        message = f"{100 * share:.0f} % of the way has no surface tag: its prior is wide"
        notes.append(Note("untagged-surface", message))
    moving_m_s = evidence.legs.speed_m_s[evidence.legs.moving]
    beyond = np.count_nonzero(moving_m_s > LIGHT_VEHICLE_M_S)
    if (
        100 * beyond >= len(moving_m_s) - 1  # else the percentile, slow to find, is within
        and (fast := float(np.percentile(moving_m_s, 99))) > LIGHT_VEHICLE_M_S
    ):
        message = f"speeds up to {3.6 * fast:.0f} km/h: is this a light electric vehicle?"
        notes.append(Note("not-a-light-vehicle", message))
    notes += diagnose(estimate, config.diagnostics)
    if not estimate.solution.converged:
        message = "the estimate did not settle: its numbers may be off by more than they say"
        notes.append(Note("not-converged", message))
    return notes
