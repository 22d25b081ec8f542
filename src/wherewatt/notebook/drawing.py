"""The pictures of a ride as numbers of an SVG: a notebook shows them as they are, offline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.motion.ride import Ride
from wherewatt.report.backdrop import window_of
from wherewatt.report.profile_data import Curve, ProfileData

WIDTH, HEIGHT = 900.0, 330.0  # of the profile
_LEFT, _RIGHT = 52.0, 890.0
_HEIGHT_PANEL = (28.0, 158.0)  # top and bottom
_BATTERY_PANEL = (186.0, 288.0)
_LEAST_RANGE_M = 20.0  # a level ride must not look hilly
_NUMBER_WIDTH = 16.0  # a section as wide has room for its number
_DOUBTED = 0.5  # a call-out that kept less of its weight is marked
_COURSE_WIDTH = 300.0
_MOST_POINTS = 600  # more than the eye can tell apart


@dataclass(frozen=True, slots=True)
class Tick:
    """A labelled place on an axis, in the picture."""

    at: str
    label: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A call-out in the picture: resting or not, doubted or not."""

    x: str
    y: str
    resting: bool
    doubted: bool


@dataclass(frozen=True, slots=True)
class ProfileDrawing:
    """Height and battery over the distance; paths are those of an SVG.

    Parameters
    ----------
    unit, height_unit, battery_label : what the axes are of.
    distances, heights, levels : ticks of the three axes.
    grounds : (terrain, path) of the areas below the height.
    height, battery : lines.
    band : the 90 % interval around the lower one; empty where it is of the whole ride.
    whisker : that of the whole ride; empty where there is a band.
    edges : where sections begin.
    numbers : the numbers of sections that have room.
    stops : where it stopped.
    marks : the call-outs.
    """

    unit: str
    height_unit: str
    battery_label: str
    distances: tuple[Tick, ...]
    heights: tuple[Tick, ...]
    levels: tuple[Tick, ...]
    grounds: tuple[tuple[str, str], ...]
    height: str
    battery: str
    band: str
    whisker: str
    edges: str
    numbers: tuple[Tick, ...]
    stops: str
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class CourseDrawing:
    """The shape of a course, north up; lengths are those of the picture.

    Parameters
    ----------
    width, height : of the picture.
    path : the course.
    start, end : its ends, as (x, y).
    bar : length of the scale bar.
    bar_label : what it stands for.
    """

    width: str
    height: str
    path: str
    start: tuple[str, str]
    end: tuple[str, str]
    bar: str
    bar_label: str


@dataclass(frozen=True, slots=True)
class _Scale:
    """A linear map of values to places in a picture; what lies beyond its ends is put there."""

    low: float
    high: float
    at_low: float
    at_high: float

    def __call__(self, values: FloatArray | float) -> FloatArray:
        share = (np.asarray(values) - self.low) / (self.high - self.low)
        return self.at_low + np.clip(share, 0.0, 1.0) * (self.at_high - self.at_low)

    def ticks(self, wanted: int) -> tuple[Tick, ...]:
        """About so many round values."""
        step = _round_step((self.high - self.low) / wanted)
        values = np.arange(np.ceil(self.low / step), np.floor(self.high / step) + 1.0) * step
        decimals = max(0, -int(np.floor(np.log10(step))))
        return tuple(
            Tick(_written(float(self(value))), f"{value + 0.0:.{decimals}f}".replace("-", "−"))
            for value in values
        )


def draw_profile(data: ProfileData, *, charge_told: bool) -> ProfileDrawing:
    """Draw a profile.

    Parameters
    ----------
    data : what it shows.
    charge_told : whether its lower curve is of energy left [%]; else of energy used [Wh].
    """
    along = _Scale(0.0, data.length, _LEFT, _RIGHT)
    height = _height_scale(data)
    battery = _battery_scale(data, charge_told=charge_told)
    curve = data.battery
    low, high = battery(curve.y - curve.half), battery(curve.y + curve.half)
    return ProfileDrawing(
        unit=str(data.unit),
        height_unit=data.unit.height_name,
        battery_label="Energy left, %" if charge_told else "Energy used, Wh",
        distances=along.ticks(10),
        heights=height.ticks(4),
        levels=battery.ticks(4),
        grounds=_grounds(data, along, height),
        height=_path(along(data.height.x), height(data.height.y)),
        battery=_path(along(curve.x), battery(curve.y)),
        band=_band(along(curve.x), low, high) if charge_told else "",
        whisker="" if charge_told else _bars(along(curve.x[-1:]), low[-1], high[-1]),
        edges=_bars(along(data.edges[1:-1]), _HEIGHT_PANEL[0], _BATTERY_PANEL[1]),
        numbers=_numbers(data.edges, along),
        stops=_bars(along(np.array(data.stops)), _HEIGHT_PANEL[1], _HEIGHT_PANEL[1] + 7.0),
        marks=_marks(data, along, battery),
    )


def draw_course(ride: Ride) -> CourseDrawing:
    """Draw the course of a ride, with a bar of a round length for its scale."""
    window = window_of(ride)
    wanted = np.linspace(0.0, ride.distance_m[-1], _MOST_POINTS)
    kept = np.unique(np.searchsorted(ride.distance_m, wanted).clip(max=len(ride.time_s) - 1))
    east, north = window.on_plane(ride.latitude_deg[kept], ride.longitude_deg[kept])
    per_metre = _COURSE_WIDTH / window.width_m
    x = (east + window.width_m / 2.0) * per_metre
    y = (window.height_m / 2.0 - north) * per_metre
    bar_m = _round_step(window.width_m / 5.0)
    return CourseDrawing(
        width=_written(_COURSE_WIDTH),
        height=_written(window.height_m * per_metre),
        path=_path(x, y),
        start=(_written(x[0]), _written(y[0])),
        end=(_written(x[-1]), _written(y[-1])),
        bar=_written(bar_m * per_metre),
        bar_label=f"{bar_m / 1000.0:g} km" if bar_m >= 1000.0 else f"{bar_m:g} m",
    )


def _height_scale(data: ProfileData) -> _Scale:
    low, high = float(data.height.y.min()), float(data.height.y.max())
    room = max(high - low, _LEAST_RANGE_M / data.unit.height_metres)
    top, bottom = _HEIGHT_PANEL
    return _Scale(low - 0.1 * room, low + 1.1 * room, bottom, top)


def _battery_scale(data: ProfileData, *, charge_told: bool) -> _Scale:
    curve: Curve = data.battery
    ends = [curve.y - curve.half, curve.y + curve.half]
    if data.call_outs is not None:
        ends.append(data.call_outs.shown)
    values = np.concatenate(ends)
    low, high = float(values.min()), float(values.max())
    room = max(high - low, 1.0)
    low, high = low - 0.06 * room, high + 0.06 * room
    if charge_told:  # an interval may reach beyond what is possible
        low, high = max(low, -2.0), min(high, 112.0)
    top, bottom = _BATTERY_PANEL
    return _Scale(low, high, bottom, top)


def _grounds(data: ProfileData, along: _Scale, height: _Scale) -> tuple[tuple[str, str], ...]:
    """Areas below the height by terrain, each a stretch of it closed at the panel's bottom."""
    found = []
    for name, start, end in data.stretches(data.terrain):
        inside = (data.height.x > start) & (data.height.x < end)
        x = np.concatenate([[start], data.height.x[inside], [end]])
        y = height(np.interp(x, data.height.x, data.height.y))
        closed = _path(
            along(x[[0, *range(len(x)), -1]]), np.array([height.at_low, *y, height.at_low])
        )
        found.append((name, closed + "Z"))
    return tuple(found)


def _numbers(edges: FloatArray, along: _Scale) -> tuple[Tick, ...]:
    places = [(number, along(np.array(ends))) for number, ends in enumerate(pairwise(edges), 1)]
    return tuple(
        Tick(_written(float(ends.mean())), str(number))
        for number, ends in places
        if ends[1] - ends[0] >= _NUMBER_WIDTH
    )


def _marks(data: ProfileData, along: _Scale, battery: _Scale) -> tuple[Mark, ...]:
    given = data.call_outs
    if given is None:
        return ()
    return tuple(
        Mark(_written(x), _written(y), bool(rests), bool(kept < _DOUBTED))
        for x, y, rests, kept in zip(
            along(given.x), battery(given.shown), given.resting, given.weight, strict=True
        )
    )


def _band(x: FloatArray, low: FloatArray, high: FloatArray) -> str:
    return _path(np.concatenate([x, x[::-1]]), np.concatenate([high, low[::-1]])) + "Z"


def _bars(x: FloatArray, top: float, bottom: float) -> str:
    return "".join(f"M{_written(at)} {_written(top)}V{_written(bottom)}" for at in x)


def _path(x: FloatArray | Sequence[float], y: FloatArray | Sequence[float]) -> str:
    return "M" + "L".join(f"{_written(a)} {_written(b)}" for a, b in zip(x, y, strict=True))


def _written(value: float) -> str:
    """A length of a picture, to a tenth of its unit."""
    return f"{value:.1f}".removesuffix(".0")


def _round_step(least: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(least))
    return float(power * next(by for by in (1.0, 2.0, 5.0, 10.0) if by * power >= 0.999 * least))
