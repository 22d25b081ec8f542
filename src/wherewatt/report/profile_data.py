"""All that the picture of a profile shows, so that another process can draw it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.units import DistanceUnit

if TYPE_CHECKING:
    from wherewatt.report.result import RideResult

_MOST_POINTS = 800  # more than the eye can tell apart


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A line over the distance, with half of the width of its 90 % band: arrays (k,)."""

    x: FloatArray
    y: FloatArray
    half: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class CallOuts:
    """The call-outs: arrays (m,).

    Parameters
    ----------
    x : distance in the reader's unit.
    shown, expected : on the display [%].
    resting : True for those at rest.
    weight : how much of its weight each kept [1].
    """

    x: FloatArray
    shown: FloatArray
    expected: FloatArray
    resting: BoolArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ProfileData:
    """A ride as its profile is drawn; distances and heights in the reader's unit.

    Parameters
    ----------
    unit : the reader's unit of distance.
    name, headline : what is written above it.
    edges : (sections + 1,) where sections begin, and the end.
    terrain, flow, surface, structure : (sections,) labels.
    said : labels of surfaces and structures in words.
    stops : where it stopped.
    height : the height.
    battery : energy left [%]; energy used [Wh] without call-outs.
    call_outs : the call-outs; None without any.
    """

    unit: DistanceUnit
    name: str
    headline: str
    edges: FloatArray
    terrain: tuple[str, ...]
    flow: tuple[str, ...]
    surface: tuple[str, ...]
    structure: tuple[str, ...]
    said: Mapping[str, str]
    stops: list[float]
    height: Curve
    battery: Curve
    call_outs: CallOuts | None

    @property
    def length(self) -> float:
        """Of the whole ride."""
        return float(self.edges[-1])

    def stretches(self, labels: Sequence[str]) -> Iterator[tuple[str, float, float]]:
        """Runs of equal labels of sections: label, start and end."""
        for label, run in groupby(range(len(labels)), key=lambda index: labels[index]):
            indices = list(run)
            yield label, float(self.edges[indices[0]]), float(self.edges[indices[-1] + 1])


def profile_data(result: RideResult, unit: DistanceUnit) -> ProfileData:
    """Thin a ride out to what its profile shows."""
    # The process that draws needs the classes above, not what an analysis loads.
    from wherewatt.report import view
    from wherewatt.report.wording import plain, words

    sections = result.sections
    distance, energy, consumption, *_ = view.headline(result, unit)
    said = [distance.value, *(f"{it.value} ({it.interval})" for it in (energy, consumption))]
    return ProfileData(
        unit=unit,
        name=plain(result.name),
        headline="    ".join(said),
        edges=sections.edge_m / unit.metres,
        terrain=sections.terrain,
        flow=sections.flow,
        surface=sections.surface,
        structure=sections.structure,
        said={name: words(name) for name in {*sections.surface, *sections.structure}},
        stops=[stop.distance_m / unit.metres for stop in result.ride.stops],
        height=_height(result, unit),
        battery=_battery(result, unit),
        call_outs=_call_outs(result, unit),
    )


def _height(result: RideResult, unit: DistanceUnit) -> Curve:
    profile = result.profile
    kept = _thinned(profile.node_m)
    height = profile.node_height_m[kept] / unit.height_metres
    return Curve(profile.node_m[kept] / unit.metres, height, np.zeros_like(height))


def _battery(result: RideResult, unit: DistanceUnit) -> Curve:
    """What was left; without call-outs nothing is known of that, so what was used."""
    from wherewatt.allocate.ledger import Z90

    kept = _thinned(result.ride.distance_m)
    x = result.ride.distance_m[kept] / unit.metres
    if result.estimate.evidence.charge_told:
        remaining, sd = result.remaining
        return Curve(x, 100.0 * remaining[kept], Z90 * (100.0 * sd[kept]))
    half = np.zeros_like(x)
    half[-1] = Z90 * result.ledger.total.sd
    return Curve(x, result.used_wh[kept], half)


def _call_outs(result: RideResult, unit: DistanceUnit) -> CallOuts | None:
    shown = result.estimate.evidence.shown
    if not len(shown):
        return None
    return CallOuts(
        x=shown.distance_m / unit.metres,
        shown=shown.percent,
        expected=result.estimate.display.percent,
        resting=shown.resting,
        weight=result.estimate.callout_weight,
    )


def _thinned(distance_m: FloatArray) -> IntArray:
    """Points that are enough to draw a line, the ends among them."""
    wanted = np.linspace(distance_m[0], distance_m[-1], _MOST_POINTS)
    found = np.minimum(np.searchsorted(distance_m, wanted), len(distance_m) - 1)
    return np.unique(np.concatenate([[0], found, [len(distance_m) - 1]]))
