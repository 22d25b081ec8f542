"""What the page draws: the ride, where it went and how high."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from wherewatt.arrays import BoolArray
from wherewatt.config import Config
from wherewatt.ingest.recording import Recording
from wherewatt.motion.ride import Ride
from wherewatt.pipeline import read_ride
from wherewatt.sections.places import at_structures
from wherewatt.tagging.edits import Tags
from wherewatt.tagging.store import TagFile
from wherewatt.terrain.blend import blend_heights
from wherewatt.terrain.nodes import Nodes, nodes_of
from wherewatt.terrain.profile import Profile
from wherewatt.terrain.tiles import TileFolder


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A ride that can be tagged.

    Parameters
    ----------
    track : file it was read from.
    ride : its cleaned points.
    profile : height along it.
    """

    track: Path
    ride: Ride
    profile: Profile

    @property
    def total_m(self) -> float:
        """Length of the ride [m]."""
        return float(self.ride.distance_m[-1])


def read_course(track: Path, tiles: TileFolder, config: Config) -> Course:
    """Read a track, its side files and the terrain under it.

    Raises
    ------
    InputError
        If the track, a side file or a terrain tile cannot be used.
    """
    recording, ride = read_ride(track, config)
    tags = TagFile(track, ride, config.surfaces).load().tags
    nodes = nodes_of(ride, config.terrain)
    terrain = tiles.survey(nodes.latitude_deg, nodes.longitude_deg)
    on_structure = _on_structure(ride, nodes, recording, tags, config)
    return Course(track, ride, blend_heights(nodes, terrain, config.terrain, on_structure))


def _on_structure(
    ride: Ride, nodes: Nodes, recording: Recording, tags: Tags, config: Config
) -> BoolArray:
    """(k,) True at nodes on a tagged bridge or tunnel, where terrain says nothing of the road."""
    inside = at_structures(ride, nodes.time_s, recording.places, config.places)
    for stretch in tags.structure:
        inside |= (nodes.distance_m >= stretch.start_m) & (nodes.distance_m <= stretch.end_m)
    return inside
