"""A ride along a course that nobody has ridden yet: how fast, and with what legs.

The rider holds the top speed, slower on rough ground and in bends, starts and brakes evenly, and
lets it roll a little on a descent. Where the motor's power does not carry that, the speed falls to
what the balance of a cell allows (`motor.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wherewatt.allocate.loads import Legs
from wherewatt.allocate.parameters import ratio_name
from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.outlook.course import Course
from wherewatt.outlook.motor import Cell, Limits, pass_through
from wherewatt.outlook.settings import Pace
from wherewatt.physics import road_load
from wherewatt.units import STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """A planned ride in n legs between n + 1 points; a stop is a leg of no length.

    Parameters
    ----------
    course : where it goes, with cells that end at the stops.
    legs : what the loads need to know.
    at_m : (n+1,) distance of the points from the start [m]; does not rise during a stop.
    time_s : (n+1,) time since the start [s].
    speed_m_s : (n+1,) speed at the points [m/s].
    pushed_m : way on which the motor does not carry even walking pace [m].
    """

    course: Course
    legs: Legs
    at_m: FloatArray
    time_s: FloatArray
    speed_m_s: FloatArray
    pushed_m: float

    @property
    def duration_s(self) -> float:
        """Time under way, stops included [s]."""
        return float(self.time_s[-1])


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """Pieces of even acceleration, and the stand-stills between them; arrays (n,).

    Parameters
    ----------
    cell : cell of the course.
    length_m : zero for a stand-still [m].
    first, last : squared speed at both ends [m²/s²].
    stand_s : duration of a stand-still, zero for a moving piece [s].
    """

    cell: IntArray
    length_m: FloatArray
    first: FloatArray
    last: FloatArray
    stand_s: FloatArray


def drive(
    course: Course,
    pace: Pace,
    values: Mapping[str, float],
    *,
    density_kg_m3: FloatArray,
    rotating_mass_kg: float,
    more_headwind_m_s: float = 0.0,
) -> Drive:
    """Ride along a course from a stand to a stand.

    Parameters
    ----------
    course : with its stops; see `Course.with_stops`.
    pace : how the rider rides, and what the motor lets them.
    values : parameter values by name, as for `allocate.loads.leg_loads`.
    density_kg_m3 : (k,) air density in the cells of the course.
    rotating_mass_kg : wheels' moment of inertia over radius squared [kg].
    more_headwind_m_s : beside the wind in `values`, against the way all along [m/s]; it slows
        climbs, while the legs know nothing of it: see `scenario.leg_wh`.
    """
    cut = course.cut_at(course.stops_m)
    parent = course.cell_at((cut.edge_m[1:] + cut.edge_m[:-1]) / 2.0)
    density = density_kg_m3[parent]
    limits = Limits.of(pace, values, rotating_mass_kg)
    stops = np.isin(cut.edge_m, course.stops_m)
    cells = _cells(cut, pace, values, density, more_headwind_m_s)
    most = _braking_limit(cut, _ceiling(cut, pace, stops), pace.deceleration_m_s2)
    pieces, pushed_m = _ridden(cells, most, limits, np.where(stops, pace.stop_s, 0.0))
    return _assembled(cut, pieces, density, rotating_mass_kg, pushed_m)


def _cruise(course: Course, pace: Pace) -> FloatArray:
    """(k,) speed held in each cell [m/s]."""
    share = np.array([pace.slower_on.get(name, 1.0) for name in course.surfaces])
    return pace.top_speed_m_s * share[course.surface]


def _ceiling(course: Course, pace: Pace, stops: BoolArray) -> FloatArray:
    """(k+1,) squared speed that neither surface, bend nor stop forbids at the edges [m²/s²]."""
    square = np.square(pace.coast_share * _cruise(course, pace))
    turn = np.abs(np.angle(np.exp(1j * np.diff(course.heading_rad))))
    radius_m = (course.cell_m[1:] + course.cell_m[:-1]) / 2.0 / np.maximum(turn, 1e-9)
    inner = np.minimum(np.minimum(square[1:], square[:-1]), pace.sideways_m_s2 * radius_m)
    inner = np.maximum(inner, pace.walk_m_s**2)
    return np.where(stops, 0.0, np.concatenate([[0.0], inner, [0.0]]))


def _braking_limit(course: Course, ceiling: FloatArray, deceleration_m_s2: float) -> list[float]:
    """(k+1,) squared speed from which even braking still keeps every later ceiling [m²/s²].

    Along u + 2·b·s a braking vehicle's value stays the same: so it is a running minimum.
    """
    braking = 2.0 * deceleration_m_s2 * course.edge_m
    limit = np.minimum.accumulate((ceiling + braking)[::-1])[::-1] - braking
    # The start is a stand that is left, not one that is braked for.
    return [float(value) for value in np.maximum(limit, 0.0)]


def _cells(
    course: Course,
    pace: Pace,
    values: Mapping[str, float],
    density_kg_m3: FloatArray,
    more_headwind_m_s: float,
) -> list[Cell]:
    """The cells as they meet the vehicle."""
    mass, length = values["mass_kg"], course.cell_m
    rise = np.diff(course.height_m) / length
    ratio = np.array([values[ratio_name(name)] for name in course.surfaces])[course.surface]
    rolling = road_load.rolling_force(
        rise, mass_kg=mass, coefficient=values["rolling_resistance"] * ratio
    )
    wind = {name: values[name] for name in ("wind_east_m_s", "wind_north_m_s")}
    cruise = _cruise(course, pace)
    columns = np.stack(
        [
            length,
            cruise,
            pace.coast_share * cruise,
            rolling + mass * STANDARD_GRAVITY_M_S2 * rise,
            0.5 * density_kg_m3 * values["drag_area_m2"],
            road_load.headwind(course.heading_rad, **wind) + more_headwind_m_s,
            road_load.crosswind(course.heading_rad, **wind),
        ]
    )
    return [Cell(*row) for row in columns.T.tolist()]


def _ridden(
    cells: list[Cell], most: list[float], limits: Limits, stand_s: FloatArray
) -> tuple[_Pieces, float]:
    """The whole way, cell by cell; and how far it had to be pushed [m]."""
    rows: list[tuple[float, ...]] = []
    square, pushed_m = 0.0, 0.0
    for number, cell in enumerate(cells):
        passage = pass_through(cell, limits, square, most[number + 1])
        pushed_m += cell.length_m if passage.pushed else 0.0
        at = 0.0
        for knot in passage.knots:
            if knot.at_m > at:
                rows.append((number, knot.at_m - at, square, knot.square, 0.0))
            at, square = knot.at_m, knot.square
        if stand_s[number + 1] > 0.0:
            rows.append((number, 0.0, 0.0, 0.0, float(stand_s[number + 1])))
    cell_of, length, first, last, stand = np.array(rows).T
    return _Pieces(cell_of.astype(np.intp), length, first, last, stand), pushed_m


def _assembled(
    course: Course,
    pieces: _Pieces,
    density_kg_m3: FloatArray,
    rotating_mass_kg: float,
    pushed_m: float,
) -> Drive:
    length, cell = pieces.length_m, pieces.cell
    mean = (np.sqrt(pieces.first) + np.sqrt(pieces.last)) / 2.0
    moving = length > 0.0
    time = np.divide(length, mean, out=pieces.stand_s.copy(), where=moving)
    legs = Legs(
        time_s=time,
        distance_m=length,
        speed_m_s=mean,
        rise_m=(np.diff(course.height_m) / course.cell_m)[cell] * length,
        square_speed_change=pieces.last - pieces.first,
        heading_rad=course.heading_rad[cell],
        density_kg_m3=density_kg_m3[cell],
        moving=moving,
        powered_s=time,
        rider_j=np.zeros_like(time),
        surface=course.surface[cell],
        surfaces=course.surfaces,
        rotating_mass_kg=rotating_mass_kg,
    )
    return Drive(
        course=course,
        legs=legs,
        at_m=np.concatenate([[0.0], np.cumsum(length)]),
        time_s=np.concatenate([[0.0], np.cumsum(time)]),
        speed_m_s=np.sqrt(np.append(pieces.first, pieces.last[-1])),
        pushed_m=pushed_m,
    )
