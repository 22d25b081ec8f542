"""What truly happened on a simulated ride."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .battery import Battery
from .course import Bridge, Stop
from .noise import FloatArray
from .vehicle import Vehicle
from .wind import Weather


@dataclass(frozen=True, slots=True)
class Truth:
    """The ride as it was, every 0.2 s: n + 1 instants and the n steps between them.

    Signs: powers are positive when they take from the battery; `steps` balance as

        battery_w = rolling_w + air_w + gravity_w + kinetic_w + brake_w + motor_loss_w + aux_w

    with *gravity* and *kinetic* of either sign. Headwind is positive against the travel, at rider
    height, and noted as 0 while standing.

    Attributes
    ----------
    start_unix_s : float
        Clock time of the first instant [s since 1970].
    time_s : array, shape (n + 1,)
        Time since the start [s].
    course_m, distance_m : array, shape (n + 1,)
        Distance along the map, and along the sloping road surface [m].
    lat_deg, lon_deg, height_m, speed_m_s, soc : array, shape (n + 1,)
        Place, height of the road, road speed, state of charge.
    steps : dict of array, shape (n,)
        ``rolling_w air_w gravity_w kinetic_w brake_w motor_loss_w aux_w battery_w headwind_m_s``.
    surface : int array, shape (n,)
        Place of the surface in `SURFACE_NAMES`.
    on_bridge : bool array, shape (n,)
        Whether on a bridge.
    standing : bool array, shape (n,)
        Whether standing still.
    stops : list of (float, float, Stop)
        When the vehicle stood [s since the start], and why.
    bridges : tuple of Bridge
        Bridges by `course_m`.
    vehicle : Vehicle
    battery : Battery
    weather : Weather
    """

    start_unix_s: float
    time_s: FloatArray
    course_m: FloatArray
    distance_m: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    height_m: FloatArray
    speed_m_s: FloatArray
    soc: FloatArray
    steps: dict[str, FloatArray]
    surface: NDArray[np.int64]
    on_bridge: NDArray[np.bool_]
    standing: NDArray[np.bool_]
    stops: list[tuple[float, float, Stop]]
    bridges: tuple[Bridge, ...]
    vehicle: Vehicle
    battery: Battery
    weather: Weather

    @property
    def battery_w(self) -> FloatArray:
        """Power at the pack's terminals per step, auxiliary included [W], shape (n,)."""
        return self.steps["battery_w"]

    @property
    def usable_capacity_wh(self) -> float:
        """Energy the pack delivers from full to empty at a moderate load [Wh]."""
        return self.battery.usable_wh

    @property
    def start_soc(self) -> float:
        """State of charge at the start [-]."""
        return self.battery.start_soc

    @property
    def total_wh(self) -> float:
        """Energy taken from the terminals over the whole ride [Wh]."""
        return float(self.cumulative_wh(np.array([self.start_unix_s + self.time_s[-1]]))[0])

    def cumulative_wh(self, unix_s: FloatArray) -> FloatArray:
        """Energy taken from the terminals since the start, at clock times [Wh]."""
        energy_j = np.concatenate([[0.0], np.cumsum(self.battery_w * np.diff(self.time_s))])
        since_s = np.asarray(unix_s, dtype=np.float64) - self.start_unix_s
        return np.interp(since_s, self.time_s, energy_j) / 3600.0

    def energy_wh_between(self, start_unix_s: FloatArray, end_unix_s: FloatArray) -> FloatArray:
        """Energy taken from the terminals between clock times.

        Parameters
        ----------
        start_unix_s, end_unix_s : array, same shape
            Clock times [s since 1970]; what lies outside the ride counts nothing.

        Returns
        -------
        array, same shape
            True battery energy [Wh], by linear interpolation of its running sum.
        """
        return self.cumulative_wh(end_unix_s) - self.cumulative_wh(start_unix_s)
