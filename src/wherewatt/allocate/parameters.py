"""The unknowns of one ride, with what is known of them beforehand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from wherewatt.allocate.settings import Assumed, EstimateSettings, Prior, PriorKind, SurfacePrior
from wherewatt.allocate.temperature import rolling_at, usable_at
from wherewatt.arrays import FloatArray
from wherewatt.ingest.sheet import RideSheet
from wherewatt.sections.surface import UNTAGGED

# Keys of the ride sheet's [vehicle] that are the parameter of the same name.
_VEHICLE_KEYS = (
    "rolling_resistance",
    "drag_area_m2",
    "drivetrain_efficiency",
    "auxiliary_w",
)

_NEXT_TO_NOTHING = 1e-3  # of a handbook's value, or loss, that stands for none


def ratio_name(surface: str) -> str:
    """Name of the parameter that holds a surface's rolling-resistance ratio."""
    return f"surface_ratio.{surface}"


@dataclass(frozen=True, slots=True)
class Parameter:
    """One unknown: its name and its prior."""

    name: str
    prior: Prior


@dataclass(frozen=True, eq=False)
class Parameters:
    """The unknowns in a fixed order, as standard normal scores.

    A score of zero is the prior's center and one is its spread, so that the prior is the same
    unit normal for all of them.
    """

    items: tuple[Parameter, ...]

    def __len__(self) -> int:
        return len(self.items)

    @cached_property
    def index(self) -> dict[str, int]:
        """Position of each parameter by name."""
        return {item.name: number for number, item in enumerate(self.items)}

    def values(self, scores: FloatArray) -> dict[str, float]:
        """Values in their own units at the given scores."""
        return self._by_name(self._scales.at(scores[: len(self)])[0])

    def slopes(self, scores: FloatArray) -> dict[str, float]:
        """Derivative of each value with respect to its score."""
        return self.at(scores)[1]

    def at(self, scores: FloatArray) -> tuple[dict[str, float], dict[str, float]]:
        """Values and slopes at once."""
        values, slopes = self._scales.at(scores[: len(self)])
        return self._by_name(values), self._by_name(slopes)

    def _by_name(self, numbers: FloatArray) -> dict[str, float]:
        return dict(zip(self.index, numbers.tolist(), strict=True))

    @cached_property
    def _scales(self) -> _Scales:
        rows = [_scale_of(item.prior) for item in self.items]
        return _Scales(*np.array(rows).reshape(len(rows), 6).T.copy())


@dataclass(frozen=True, slots=True, eq=False)
class _Scales:
    """All priors at once: at a score z, value = a + b·z + c·exp(s·z) + d/(1 + o·exp(s·z)).

    See `value_of` and `slope_of`; arrays (p,) of a, b, c, d, o and s.
    """

    a: FloatArray
    b: FloatArray
    c: FloatArray
    d: FloatArray
    o: FloatArray
    s: FloatArray

    def at(self, scores: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Values and slopes."""
        times = np.exp(self.s * scores)
        share = 1.0 / (1.0 + self.o * times)
        values = self.a + self.b * scores + self.c * times + self.d * share
        slopes = self.b + self.s * times * (self.c - self.d * self.o * (share * share))
        return values, slopes


def _scale_of(prior: Prior) -> tuple[float, ...]:
    """Coefficients a, b, c, d, o and s of a prior, see `_Scales`."""
    center, spread = prior.center, prior.spread
    if prior.kind is PriorKind.LINEAR:
        return center, spread, 0.0, 0.0, 0.0, 0.0
    if prior.kind is PriorKind.LOG:
        return 0.0, 0.0, center, 0.0, 0.0, spread
    return 0.0, 0.0, 0.0, 1.0, (1.0 - center) / center, spread


def value_of(prior: Prior, score: float) -> float:
    """Value of a parameter at a score."""
    if prior.kind is PriorKind.LINEAR:
        return prior.center + prior.spread * score
    if prior.kind is PriorKind.LOG:
        return float(prior.center * np.exp(prior.spread * score))
    loss = (1.0 - prior.center) / prior.center * np.exp(prior.spread * score)
    return float(1.0 / (1.0 + loss))


def natural(prior: Prior, value: float) -> float:
    """A value on the scale on which its prior is normal; linear in the score."""
    if prior.kind is PriorKind.LINEAR:
        return value
    if prior.kind is PriorKind.LOG:
        return float(np.log(value))
    return float(np.log((1.0 - value) / value))


def slope_of(prior: Prior, score: float) -> float:
    """Derivative of the value with respect to the score."""
    value = value_of(prior, score)
    if prior.kind is PriorKind.LINEAR:
        return prior.spread
    if prior.kind is PriorKind.LOG:
        return prior.spread * value
    return -prior.spread * value * (1.0 - value)


def ride_parameters(
    sheet: RideSheet,
    surfaces: Sequence[str],
    *,
    priors: Mapping[str, Prior],
    surface_priors: Mapping[str, SurfacePrior],
    assumed: Assumed,
    settings: EstimateSettings,
    pedalling_unknown: bool,
    logged: bool = False,
) -> Parameters:
    """The unknowns of a ride, with what the sheet states in place of the handbook.

    Parameters
    ----------
    surfaces : the surfaces that occur.
    pedalling_unknown : True if a rider pedals and no power was recorded.
    logged : True if a logger measured the battery.
    """
    items = [Parameter("mass_kg", _mass(sheet, priors))]
    for name in _VEHICLE_KEYS:
        stated = getattr(sheet.vehicle, name)
        kind = getattr(sheet.kind, name) if sheet.kind else None
        prior = _stated(priors[name], stated, kind, settings)
        if name == "rolling_resistance" and stated is None:
            prior = rolling_at(prior, sheet.weather.temperature_c, assumed)
        items.append(Parameter(name, prior))
    for name in ("fixed_loss_w", "winding_loss_w_n2", "unsteadiness_m_s2", "day_factor"):
        items.append(Parameter(name, priors[name]))
    for surface in sorted(surfaces):
        ratio = _ratio(surface, surface_priors[surface], settings)
        items.append(Parameter(ratio_name(surface), ratio))
    items += _wind(sheet, priors["wind_m_s"], assumed)
    if (regenerates := sheet.vehicle.regenerative_braking) is not False:
        known = priors["regenerative_share" if regenerates else "unstated_regenerative_share"]
        items.append(Parameter("regenerative_share", known))
    if pedalling_unknown:
        items.append(Parameter("pedal_power_w", priors["pedal_power_w"]))
    share = usable_at(priors["usable_share"], sheet.weather.temperature_c, assumed)
    usable = _usable(sheet, share, priors["battery_nominal_wh"], settings)
    items.append(Parameter("battery_usable_wh", usable))
    if sheet.recharge.wall_energy_wh is not None:
        stated = sheet.recharge.charger_efficiency
        efficiency = _stated(priors["charger_efficiency"], stated, None, settings)
        items.append(Parameter("charger_efficiency", efficiency))
    if logged:
        items.append(Parameter("logger_gain", priors["logger_gain"]))
    for name in ("start_charge", "display_bend", "display_sag", "display_delay_s"):
        items.append(Parameter(name, priors[name]))
    return Parameters(tuple(items))


def handbook_of_vehicles(
    priors: Mapping[str, Prior],
    surface_priors: Mapping[str, SurfacePrior],
    settings: EstimateSettings,
) -> dict[str, Prior]:
    """Priors of all that rides may say of a vehicle beside its capacity, if nothing is stated."""
    ratios = {
        ratio_name(surface): _ratio(surface, known, settings)
        for surface, known in surface_priors.items()
    }
    return {name: prior for name, prior in priors.items() if prior.day_spread is not None} | ratios


def _ratio(surface: str, known: SurfacePrior, settings: EstimateSettings) -> Prior:
    untagged = surface == UNTAGGED
    day_spread = settings.untagged_day_spread if untagged else settings.surface_day_spread
    return Prior(PriorKind.LOG, known.ratio, known.spread, "1", known.source, day_spread=day_spread)


def _stated(
    prior: Prior, stated: float | None, kind: float | None, settings: EstimateSettings
) -> Prior:
    """The prior centred on what the user stated (and narrowed) or the vehicle kind suggests."""
    if stated is not None:
        narrow = prior.stated_spread
        spread = narrow if narrow is not None else settings.stated_shrink * prior.spread
        center = _on_scale(prior, stated)
        return replace(prior, center=center, spread=spread, source="stated in the ride sheet")
    if kind is not None:
        return replace(prior, center=kind, source="kind of vehicle in the ride sheet")
    return prior


def _on_scale(prior: Prior, value: float) -> float:
    """A value, or the next to it that the scale of its prior knows: no loss has no logarithm."""
    if prior.kind is PriorKind.LOG:
        return max(value, _NEXT_TO_NOTHING * prior.center)
    if prior.kind is PriorKind.LOG_LOSS:
        return min(value, 1.0 - _NEXT_TO_NOTHING)
    return value


def _mass(sheet: RideSheet, priors: Mapping[str, Prior]) -> Prior:
    """Rider and vehicle together."""
    vehicle, rider = priors["vehicle_mass_kg"], priors["rider_mass_kg"]
    kind = sheet.kind.mass_kg if sheet.kind else None
    parts = [
        _stated_mass(vehicle, sheet.vehicle.mass_kg, kind),
        _stated_mass(rider, sheet.rider.mass_kg, None),
    ]
    spread = float(np.hypot(parts[0].spread, parts[1].spread))
    source = "; ".join(part.source for part in parts)
    return Prior(PriorKind.LINEAR, sum(part.center for part in parts), spread, "kg", source)


def _stated_mass(prior: Prior, stated: float | None, kind: float | None) -> Prior:
    if stated is not None:
        spread = prior.stated_spread or prior.spread
        return replace(prior, center=stated, spread=spread, source="stated in the ride sheet")
    return prior if kind is None else replace(prior, center=kind)


def _wind(sheet: RideSheet, prior: Prior, assumed: Assumed) -> list[Parameter]:
    """East and north components of where the air moves to, at rider height."""
    speed, from_deg = sheet.weather.wind_speed_m_s, sheet.weather.wind_from_deg
    east = north = replace(prior)
    if speed is not None and from_deg is not None:
        shelter = assumed.wind_height_ratio_spread * speed
        spread = float(np.hypot(prior.stated_spread or prior.spread, shelter))
        source = "forecast in the ride sheet, brought down to rider height"
        to_rad = np.radians(from_deg + 180.0)
        at_rider = speed * assumed.wind_height_ratio
        east = replace(prior, center=at_rider * np.sin(to_rad), spread=spread, source=source)
        north = replace(prior, center=at_rider * np.cos(to_rad), spread=spread, source=source)
    elif speed is not None:  # strength without direction: as likely from anywhere
        spread = float(np.hypot(prior.spread, speed * assumed.wind_height_ratio / np.sqrt(2.0)))
        east = north = replace(prior, spread=spread, source="wind speed without a direction")
    return [Parameter("wind_east_m_s", east), Parameter("wind_north_m_s", north)]


def _usable(sheet: RideSheet, share: Prior, nominal: Prior, settings: EstimateSettings) -> Prior:
    """Usable capacity [Wh]: stated, or a share of the nominal one."""
    if sheet.vehicle.battery_usable_wh is not None:
        return Prior(
            PriorKind.LOG,
            sheet.vehicle.battery_usable_wh,
            settings.stated_shrink * share.spread,
            "Wh",
            "stated in the ride sheet",
            day_spread=share.day_spread,
        )
    if sheet.vehicle.battery_nominal_wh is not None:
        center = sheet.vehicle.battery_nominal_wh * share.center
        spread = float(np.hypot(share.spread, nominal.stated_spread or 0.0))
        source = f"of the nominal energy, {share.source}"
    else:
        center, source = nominal.center * share.center, nominal.source
        spread = float(np.hypot(share.spread, nominal.spread))
    return Prior(PriorKind.LOG, center, spread, "Wh", source, day_spread=share.day_spread)
