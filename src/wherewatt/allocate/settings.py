"""What the allocate room can be told: priors, assumptions and the estimate's settings."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class PriorKind(StrEnum):
    """Scale on which a parameter is normally distributed before the ride."""

    LINEAR = "linear"  # as it is
    LOG = "log"  # its logarithm
    LOG_LOSS = "log_loss"  # the logarithm of (1 − value)/value: shares and efficiencies


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a parameter before the ride.

    Parameters
    ----------
    kind : scale of the normal distribution.
    center : median, in `unit`.
    spread : standard deviation on the scale of `kind`.
    unit : unit for people.
    source : where the numbers come from.
    stated_spread : spread where the user stated the value; None for a share of `spread`.
    day_spread : of a parameter of the vehicle, how much it differs between days, on the scale of
        `kind`; None for a parameter of the day itself.
    """

    kind: PriorKind
    center: float
    spread: float
    unit: str
    source: str
    stated_spread: float | None = None
    day_spread: float | None = None


@dataclass(frozen=True, slots=True)
class SurfacePrior:
    """Rolling resistance of a surface as a multiple of asphalt's; spread of its logarithm."""

    ratio: float
    spread: float
    source: str


@dataclass(frozen=True, slots=True)
class Assumed:
    """Facts that are taken as they are; the reasons stand in the configuration file."""

    rotating_mass_kg: float
    wind_height_ratio: float
    wind_height_ratio_spread: float
    humidity: float
    handbook_c: float
    rolling_per_k: float
    change_doubt: float
    cold_doubt: float
    unknown_level_v: float


@dataclass(frozen=True, slots=True)
class EstimateSettings:
    """Settings of the estimate and of the call-out model; reasons in the configuration file."""

    most_iterations: int
    tolerance: float
    most_rounds: int
    settled: float
    student_dof: float
    callout_sd_points: float
    rounding_sd_points: float
    refresh_s: float
    near_empty_pct: float
    near_empty_sd_points: float
    voltage_step_v: float
    cell_sd_v: float
    cell_charge_sd: float
    slow_sag_share: float
    sag_doubt: float
    stretch_m: float
    stretch_spread: float
    untagged_spread: float
    terrain_edge_sd_m: float
    shelter_spread_s_m: float
    stated_shrink: float
    surface_day_spread: float
    untagged_day_spread: float
    wall_energy_spread: float
    metered_spread: float
    overfull_spread: float
    logged_spread: float
    logged_stretch_spread: float
    logged_floor_wh: float
    set_aside_weight: float
    silent_pct: float
    told_pct: float
    off_points: float


@dataclass(frozen=True, slots=True)
class DiagnosticSettings:
    """How odd is odd enough to be said; reasons in the configuration file.

    Numbers called `…_sds` are standard deviations.
    """

    callout_chance: float
    account_sds: float
    edge_sds: float
    edge_informed_pct: float
    wind_sds: float
    height_sds: float
    mass_sds: float
