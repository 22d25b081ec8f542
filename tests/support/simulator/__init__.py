"""An independent little world in which rides are simulated, to test estimates against.

It shares no code with the package under test and knows things that package's model does not:
bridges and road undulation that terrain tiles miss, tyres that warm up, drag of rough roads that
grows with speed, patches of road, gusts, cross wind, shelter that varies, a rider who shifts and
lets it roll, a motor map, sag that builds up and recovers, a display that counts, guesses, lags
and jumps, testers who mishear, recorders that drift, lose their place and repeat themselves.

`simulate` is the way in.
"""

from __future__ import annotations

from .characters import CHARACTERS
from .display import CallOut
from .recorder import RecordedTrack, Recorder
from .ride import SimulatedRide, simulate
from .sheet import RideSheet
from .surfaces import SURFACE_NAMES
from .tags import Tag
from .truth import Truth
from .world import terrain_m, tile_heights, to_geographic, to_plane
from .writers import write_tile

__all__ = [
    "CHARACTERS",
    "SURFACE_NAMES",
    "CallOut",
    "RecordedTrack",
    "Recorder",
    "RideSheet",
    "SimulatedRide",
    "Tag",
    "Truth",
    "simulate",
    "terrain_m",
    "tile_heights",
    "to_geographic",
    "to_plane",
    "write_tile",
]
