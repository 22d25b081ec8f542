"""Write the sample rides: ``python -m tests.support.make_samples`` from the top of the repository.

Everything is drawn from fixed seeds, so that the files come out the same each time.
"""

from __future__ import annotations

from pathlib import Path

from .simulator import SimulatedRide, simulate, write_tile

SAMPLE_TRACKS = Path(__file__).resolve().parents[2] / "sample_tracks"

README = """\
# Sample tracks

Three rides to try the package on. **They are invented**: the island of Merrowan, its roads, the
vehicles and the riders do not exist. No measured ride is among them.

| ride | what it shows |
|---|---|
| `harbour_commute.fit` | {harbour} |
| `ridge_trail.gpx` | {ridge} |
| `causeway_wind.gpx` | {causeway} |

Beside each track lie its battery call-outs (`.readings.csv`), its hand tags of the surface
(`.surface.csv`) and its ride sheet (`.toml`). `terrain/N44W030.hgt.zip` is the island's terrain
tile, 3 arc seconds, heights in metres, 0 at sea. Like real tiles it is a few metres wrong and
knows nothing of bridges.

## How they were made

`python -m tests.support.make_samples` writes this folder anew, from fixed seeds. A
simulator (`tests/support/simulator/`) drives a vehicle over the island in steps of 0.2 s, through
gusts, bends and red lights, and keeps account of every force. What a rider would have of the ride
is then written down with the faults such records have: positions that wander, heights that drift,
a display that lags, sags and jumps, call-outs rounded or misheard, a forecast that is a little
wrong. The true energies are not in this folder.
"""


def main() -> None:
    """Write sample tracks, side files, terrain tile and the note about them."""
    harbour = simulate("commuter", 8, recorder="computer", sampling_s=1.0, units="km")
    harbour.write(SAMPLE_TRACKS, stem="harbour_commute", format="fit", recharge=True)
    ridge = simulate("trail", 37, recorder="phone", sampling_s=1.0, units="km")
    ridge.write(SAMPLE_TRACKS, stem="ridge_trail")
    causeway = simulate("windy", 63, recorder="phone", sampling_s=0.0, units="mi")
    causeway.write(SAMPLE_TRACKS, stem="causeway_wind")
    write_tile(SAMPLE_TRACKS / "terrain", zipped=True)
    text = README.format(
        harbour=f"a loop through a harbour town{_facts(harbour)}: red lights, one bridge, a bike "
        "computer that records speed and distance; the sheet tells the energy from the wall",
        ridge=f"a hilly loop on dirt and gravel{_facts(ridge)}; a phone, position and height only",
        causeway=f"out and back in a fresh wind{_facts(causeway)}, over one bridge twice; a phone "
        "with irregular steps; miles, pounds and degrees Fahrenheit",
    )
    (SAMPLE_TRACKS / "README.md").write_text(text, encoding="utf-8")


def _facts(ride: SimulatedRide) -> str:
    kilometres = ride.truth.distance_m[-1] / 1_000.0
    minutes = ride.truth.time_s[-1] / 60.0
    return f", {kilometres:.0f} km in {minutes:.0f} min"


if __name__ == "__main__":
    main()
