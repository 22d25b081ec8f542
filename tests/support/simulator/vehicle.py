"""Vehicles and riders of the simulated world, with their true (never published) properties.

Sign conventions: forces along the road, positive where they resist or drive forward motion as
named; powers positive when they take energy from the battery.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .surfaces import SURFACES


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One vehicle with its rider.

    Attributes
    ----------
    name, kind : str
        Invented name; kind of vehicle.
    mass_kg, rider_mass_kg : float
        True masses of the vehicle and of the rider with kit.
    drag_area_m2 : float
        Mean drag area of rider and vehicle.
    crr : tuple of float
        True rolling-resistance coefficient per surface, in the order of `SURFACE_NAMES`.
    rotating_share : float
        Mass equivalent of the turning wheels and motor over the total mass [-].
    cruise_m_s : float
        Speed the rider likes on a good road.
    max_force_n, max_power_w : float
        Limits of the motor, at the wheel.
    copper_w_per_n2, iron_n, idle_w : float
        Motor and controller losses while driving: ``copper * F**2 + iron * v + idle``.
    gear_efficiency : float
        Efficiency between motor and wheel [-].
    motor_drag_n : float
        Drag of the unpowered motor; 0 where it freewheels.
    regen_force_n : float
        Greatest braking force that charges the battery; 0 where there is none.
    coasts : bool
        Whether the rider can let it roll; a one-wheeler's motor always holds the speed.
    aux_w : float
        Display, controller standby, lights.
    cells_in_series : int
        Cells in series in the pack.
    """

    name: str
    kind: str
    mass_kg: float
    rider_mass_kg: float
    drag_area_m2: float
    crr: tuple[float, ...]
    rotating_share: float
    cruise_m_s: float
    max_force_n: float
    max_power_w: float
    copper_w_per_n2: float
    iron_n: float
    idle_w: float
    gear_efficiency: float
    motor_drag_n: float
    regen_force_n: float
    coasts: bool
    aux_w: float
    cells_in_series: int

    @property
    def total_mass_kg(self) -> float:
        """Mass of vehicle and rider [kg]."""
        return self.mass_kg + self.rider_mass_kg

    @property
    def nominal_v(self) -> int:
        """Nominal voltage of the pack as makers print it [V]."""
        return {10: 36, 13: 48, 14: 52}[self.cells_in_series]

    @property
    def smallest_pack_wh(self) -> float:
        """Smallest pack that feeds the motor, to 10 Wh: 300 Wh, or a quarter of an hour's power."""
        return max(300.0, 10.0 * round(self.max_power_w / 40.0))

    def drive_input_w(self, force_n: float, speed_m_s: float) -> float:
        """Power the motor takes from the battery to push with a force at the wheel [W]."""
        motor_w = force_n * speed_m_s / self.gear_efficiency
        loss_w = self.copper_w_per_n2 * force_n * force_n + self.iron_n * speed_m_s + self.idle_w
        return motor_w + loss_w

    def regen_output_w(self, force_n: float, speed_m_s: float) -> float:
        """Power given back to the battery by braking with a force at the wheel [W], at least 0."""
        motor_w = force_n * speed_m_s * self.gear_efficiency
        loss_w = self.copper_w_per_n2 * force_n * force_n + self.iron_n * speed_m_s + self.idle_w
        return max(0.0, motor_w - loss_w)

    def force_limit_n(self, speed_m_s: float) -> float:
        """Greatest driving force at the wheel at a speed [N]."""
        return min(self.max_force_n, self.max_power_w / max(speed_m_s, 0.5))

    def regen_limit_n(self, speed_m_s: float) -> float:
        """Greatest recovering force at a speed [N]: it fades out below 2 m/s."""
        return self.regen_force_n * min(1.0, max(0.0, (speed_m_s - 0.8) / 1.2))


@dataclass(frozen=True, slots=True)
class _Kind:
    """Ranges for a kind of vehicle; masses [kg], speeds [m/s], forces [N], powers [W]."""

    names: tuple[str, ...]
    mass_kg: tuple[float, float]
    drag_area_m2: tuple[float, float]
    tyre: float
    rotating_share: tuple[float, float]
    cruise_m_s: tuple[float, float]
    max_force_n: tuple[float, float]
    max_power_w: tuple[float, float]
    heat_w_at_limit: tuple[float, float]
    gear_efficiency: tuple[float, float]
    motor_drag_n: tuple[float, float]
    regen_odds: float
    cells: tuple[int, ...]


_KINDS: dict[str, _Kind] = {
    "scooter": _Kind(
        ("Skerrin 2", "Quillet S"), (14.0, 23.0), (0.50, 0.66), 1.20, (0.008, 0.018),
        (5.6, 7.2), (170.0, 230.0), (650.0, 950.0), (350.0, 650.0), (0.985, 1.0),
        (1.0, 4.0), 0.5, (10, 13),
    ),
    "fast_scooter": _Kind(
        ("Skerrin 5 Duo", "Ondry XL"), (26.0, 38.0), (0.52, 0.68), 1.25, (0.010, 0.022),
        (6.6, 9.2), (330.0, 460.0), (1500.0, 2400.0), (700.0, 1100.0), (0.985, 1.0),
        (2.0, 5.0), 0.5, (13, 14),
    ),
    "ebike": _Kind(
        ("Halvane Post", "Brindel 26"), (21.0, 31.0), (0.48, 0.64), 0.78, (0.014, 0.028),
        (5.8, 7.6), (230.0, 320.0), (700.0, 1100.0), (350.0, 600.0), (0.90, 0.95),
        (0.0, 0.0), 0.0, (10, 13, 14),
    ),
    "onewheeler": _Kind(
        ("Orbule 14", "Pebblet W"), (13.0, 26.0), (0.48, 0.62), 1.05, (0.015, 0.030),
        (5.6, 8.0), (260.0, 360.0), (1000.0, 1800.0), (450.0, 750.0), (1.0, 1.0),
        (1.0, 3.0), 1.0, (13, 14),
    ),
}  # fmt: skip


def draw_vehicle(odds: dict[str, float], rng: np.random.Generator) -> Vehicle:
    """Draw a vehicle and its rider.

    Parameters
    ----------
    odds : dict
        Kind of vehicle to its share.
    rng : numpy.random.Generator
        Source of randomness.
    """
    name_of_kind = str(rng.choice(list(odds), p=np.array(list(odds.values()))))
    kind = _KINDS[name_of_kind]
    regen = rng.random() < kind.regen_odds
    force_n = rng.uniform(*kind.max_force_n)
    tyre = kind.tyre * rng.lognormal(0.0, 0.15)
    return Vehicle(
        name=str(rng.choice(kind.names)),
        kind=name_of_kind,
        mass_kg=float(rng.uniform(*kind.mass_kg)),
        rider_mass_kg=float(rng.uniform(55.0, 105.0)),
        drag_area_m2=float(rng.uniform(*kind.drag_area_m2)),
        crr=tuple(
            surface.crr * tyre * float(rng.lognormal(0.0, 0.12)) for surface in SURFACES.values()
        ),
        rotating_share=float(rng.uniform(*kind.rotating_share)),
        cruise_m_s=float(rng.uniform(*kind.cruise_m_s)),
        max_force_n=float(force_n),
        max_power_w=float(rng.uniform(*kind.max_power_w)),
        copper_w_per_n2=float(rng.uniform(*kind.heat_w_at_limit) / force_n**2),
        iron_n=float(rng.uniform(0.8, 2.2)),
        idle_w=float(rng.uniform(3.0, 8.0)),
        gear_efficiency=float(rng.uniform(*kind.gear_efficiency)),
        motor_drag_n=float(rng.uniform(*kind.motor_drag_n)),
        regen_force_n=float(rng.uniform(30.0, 90.0)) if regen else 0.0,
        coasts=name_of_kind != "onewheeler",
        aux_w=float(rng.uniform(2.5, 7.0) + (rng.random() < 0.5) * rng.uniform(3.0, 8.0)),
        cells_in_series=int(rng.choice(kind.cells)),
    )


@dataclass(frozen=True, slots=True)
class Style:
    """How a rider rides.

    Attributes
    ----------
    accelerate_m_s2, brake_m_s2, sideways_m_s2 : float
        Comfortable accelerations: forward, in braking, in bends.
    wander : float
        Relative standard deviation of the speed aimed at [-].
    let_run : float
        How far above the speed aimed at a descent may carry before the brakes come on [-].
    posture : float
        Relative standard deviation of the drag area as the rider shifts [-].
    """

    accelerate_m_s2: float
    brake_m_s2: float
    sideways_m_s2: float
    wander: float
    let_run: float
    posture: float


def draw_style(rng: np.random.Generator) -> Style:
    """Draw a riding style."""
    return Style(
        accelerate_m_s2=float(rng.uniform(0.6, 1.2)),
        brake_m_s2=float(rng.uniform(0.8, 1.5)),
        sideways_m_s2=float(rng.uniform(1.6, 2.8)),
        wander=float(rng.uniform(0.03, 0.09)),
        let_run=float(rng.uniform(1.06, 1.35)),
        posture=float(rng.uniform(0.02, 0.06)),
    )
