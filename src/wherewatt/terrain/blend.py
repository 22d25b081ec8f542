"""One height along the ride from two that err differently.

Terrain tiles err by metres from place to place but do not drift; a recording has the fine shape
but drifts for minutes. `model` weighs both; this module puts it together: noise levels from the
ride, then structures, then the same road ridden twice: what a tie adds to what is known of a hump
is little.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.ingest.track import Note
from wherewatt.terrain.model import Noise, Observed
from wherewatt.terrain.nodes import Nodes
from wherewatt.terrain.noise import expected_noise, likeliest_noise
from wherewatt.terrain.profile import Profile
from wherewatt.terrain.revisits import again, first_visits, without
from wherewatt.terrain.settings import TerrainSettings
from wherewatt.terrain.solution import Pairs, Solution, solve
from wherewatt.terrain.source import TerrainSample
from wherewatt.terrain.structures import Structure, find_structures
from wherewatt.text import counted

_USUAL_POSTS_M = 90.0
_LEVEL_WHITE_M = 10.0  # of a road taken as level


def blend_heights(
    nodes: Nodes,
    terrain: TerrainSample,
    settings: TerrainSettings,
    hand_tagged: BoolArray | None = None,
) -> Profile:
    """Blend terrain and recorded height along distance.

    Parameters
    ----------
    nodes : places along the ride, with the recorded height; it may be missing in part or
        altogether.
    terrain : terrain height at the nodes.
    hand_tagged : (k,) True on a structure the user tagged: terrain is not used there.
    """
    observed, level = _observed(nodes, terrain)
    if hand_tagged is not None:
        observed = observed.off_ground(hand_tagged)
    known = np.isfinite(terrain.post_spacing_m)
    posts = float(np.median(terrain.post_spacing_m[known])) if known.any() else _USUAL_POSTS_M
    expected = expected_noise(nodes.noise_m, posts, settings)
    if observed.has_tile or observed.has_recording:
        solution, structures = _with_structures(nodes, observed, expected, settings)
    else:
        solution, structures = _level(nodes, observed, expected, settings), ()
    return Profile(
        nodes=nodes,
        node_height_m=level + solution.height_m,
        terrain_m=terrain.height_m,
        turn_m=settings.turn_m,
        structures=structures,
        notes=tuple(_notes(terrain.height_m, nodes, structures)),
        _solution=solution,
    )


def _with_structures(
    nodes: Nodes, observed: Observed, expected: Noise, settings: TerrainSettings
) -> tuple[Solution, tuple[Structure, ...]]:
    """The profile, and the structures at which it leaves the terrain."""
    visit = first_visits(nodes, settings)
    once = _tile_once(observed, visit)
    noise = likeliest_noise(once, expected, settings)
    if not (observed.has_tile and observed.has_recording):
        return _tied(observed, noise, visit, settings), ()
    apart = solve(once, noise, unruly_walk_per_root_m=settings.unruly_walk_per_root_m)
    structures = find_structures(observed, apart, visit, settings)
    if structures:
        observed = observed.off_ground(_inside(nodes, structures))
    elif not again(visit).any():
        return apart, ()
    return _tied(observed, noise, visit, settings), structures


def _level(
    nodes: Nodes, observed: Observed, expected: Noise, settings: TerrainSettings
) -> Solution:
    """A level road, poorly known, for want of any height."""
    count = len(observed)
    level = replace(observed, recorded_m=np.zeros(count), count=np.ones(count))
    noise = replace(expected, recorded_white_m=_LEVEL_WHITE_M, wander_sd_m=settings.level_sd_m)
    return _tied(level, noise, first_visits(nodes, settings), settings)


def _tied(observed: Observed, noise: Noise, visit: IntArray, settings: TerrainSettings) -> Solution:
    """The profile, the same at every visit that does not contradict it.

    Where two visits are at different heights, one road passes over the other.
    """
    while True:
        later = _tied_nodes(observed, visit, settings)
        solution = solve(
            _tile_once(observed, visit),
            noise,
            unruly_walk_per_root_m=settings.unruly_walk_per_root_m,
            tied=Pairs(later, visit[later], settings.tie_sd_m),
        )
        if solution.ties is None:
            return solution
        odd = np.abs(solution.ties.apart_sds) > settings.most_tie_sds
        if not odd.any():
            return solution
        visit = without(visit, later[odd])


def _tile_once(observed: Observed, visit: IntArray) -> Observed:
    """The tile says the same of a place each time, so it counts once: at the first visit."""
    known = np.isfinite(observed.tile_m[visit])
    return replace(observed, tile_m=np.where(again(visit) & known, np.nan, observed.tile_m))


def _tied_nodes(observed: Observed, visit: IntArray, settings: TerrainSettings) -> IntArray:
    """Nodes whose height is tied to that of their first visit: some along each stretch."""
    later = np.flatnonzero(again(visit))
    if not len(later):
        return later
    count = min(len(later) * observed.spacing_m / settings.tie_m, settings.most_ties)
    return later[np.linspace(0, len(later) - 1, max(1, round(count))).astype(np.intp)]


def _inside(nodes: Nodes, structures: tuple[Structure, ...]) -> BoolArray:
    at = nodes.distance_m
    inside = np.zeros(len(at), dtype=bool)
    for found in structures:
        inside |= (at >= found.start_m) & (at <= found.end_m)
    return inside


def _observed(nodes: Nodes, terrain: TerrainSample) -> tuple[Observed, float]:
    """What was seen, about the level of the terrain, or of the recording without any; that level.

    The recording is brought to the datum of the terrain beforehand, as near as a median can.
    """
    tile = np.where(nodes.placed, terrain.height_m, np.nan)
    apart = (nodes.recorded_m - tile)[np.isfinite(nodes.recorded_m - tile)]
    datum = float(np.median(apart)) if len(apart) else 0.0
    known = [values[np.isfinite(values)] for values in (tile, nodes.recorded_m)]
    level = next((float(np.median(values)) for values in known if len(values)), 0.0)
    observed = Observed(
        spacing_m=nodes.spacing_m,
        leg_s=np.diff(nodes.time_s),
        tile_m=tile - level,
        tile_extra_sd_m=terrain.extra_sd_m,
        recorded_m=nodes.recorded_m - datum - level,
        count=nodes.count,
        unruly=np.zeros(len(nodes), dtype=bool),
        new_datum=nodes.new_datum,
    )
    return observed, level


def _notes(terrain: FloatArray, nodes: Nodes, structures: tuple[Structure, ...]) -> list[Note]:
    notes = []
    uncovered = float(np.mean(~np.isfinite(terrain)))
    unrecorded = not np.isfinite(nodes.recorded_m).any()
    if nodes.left_out:
        left_out = counted(nodes.left_out, "recorded height")
        notes.append(Note("heights-left-out", f"{left_out} that no road explains, left out"))
    if nodes.new_datum.any():
        times = counted(int(nodes.new_datum.sum()), "time")
        notes.append(
            Note("height-set-anew", f"the device set its height anew {times}: allowed for")
        )
    if uncovered == 1.0 and unrecorded:
        notes.append(
            Note("no-height", "no terrain tile and no recorded height: the road is taken as level")
        )
    elif uncovered == 1.0:
        notes.append(Note("no-terrain", "no terrain tile here: the recorded height was used"))
    elif uncovered > 0.0:
        share = f"{100 * uncovered:.0f} % of the way has no terrain height"
        notes.append(Note("terrain-in-part", f"{share}: the recorded height was used there"))
    if uncovered < 1.0 and unrecorded:
        notes.append(
            Note("no-recorded-height", "the track has no height: terrain alone, bridges unseen")
        )
    for kind, means in (("bridge", "above"), ("cutting", "below")):
        found = [abs(one.height_m) for one in structures if one.kind == kind]
        if found:
            height = f"up to {max(found):.0f} m {means} the terrain: the recorded height was kept"
            notes.append(Note(f"{kind}-found", f"{counted(len(found), kind)} found, {height}"))
    return notes
