"""Priors: the handbook's where nothing is stated, the user's where something is."""

from __future__ import annotations

import numpy as np
import pytest

from tests.allocate.builders import CONFIG
from wherewatt.allocate.parameters import (
    Parameter,
    Parameters,
    natural,
    ride_parameters,
    slope_of,
    value_of,
)
from wherewatt.allocate.settings import Prior, PriorKind
from wherewatt.ingest.sheet import (
    RechargeSheet,
    RiderSheet,
    RideSheet,
    VehicleSheet,
    WeatherSheet,
)


def parameters_of(sheet: RideSheet, **changed: object) -> Parameters:
    return ride_parameters(
        sheet,
        ("asphalt", "untagged"),
        priors=CONFIG.priors,
        surface_priors=CONFIG.surfaces,
        assumed=CONFIG.assumed,
        settings=CONFIG.estimate,
        **{"pedalling_unknown": False, **changed},  # type: ignore[arg-type]
    )


def prior_of(sheet: RideSheet, name: str) -> Prior:
    parameters = parameters_of(sheet)
    return parameters.items[parameters.index[name]].prior


@pytest.mark.parametrize("kind", list(PriorKind))
def test_score_zero_is_the_center(kind: PriorKind) -> None:
    prior = Prior(kind, 0.8, 0.3, "1", "a test")
    assert value_of(prior, 0.0) == pytest.approx(0.8)
    step = 1e-6
    for score in (-2.0, 0.0, 1.5):
        difference = value_of(prior, score + step) - value_of(prior, score - step)
        assert slope_of(prior, score) == pytest.approx(difference / (2.0 * step), rel=1e-6)


def test_all_at_once_as_one_by_one() -> None:
    """At scores that may be followed by those of stretches and heights."""
    priors = [Prior(kind, 0.3, 0.7, "1", "a test") for kind in PriorKind]
    parameters = Parameters(tuple(Parameter(prior.kind, prior) for prior in priors))
    scores = np.array([-1.3, 0.4, 2.1, 9.0])
    values, slopes = parameters.at(scores)
    for prior, score in zip(priors, scores, strict=False):
        assert values[prior.kind] == pytest.approx(value_of(prior, score), rel=1e-12)
        assert slopes[prior.kind] == pytest.approx(slope_of(prior, score), rel=1e-12)
    assert values == parameters.values(scores)
    assert slopes == parameters.slopes(scores)


def test_shares_stay_shares() -> None:
    prior = Prior(PriorKind.LOG_LOSS, 0.8, 0.3, "1", "a test")
    assert 0.0 < value_of(prior, 20.0) < value_of(prior, -20.0) < 1.0


def test_positive_quantities_stay_positive() -> None:
    assert value_of(Prior(PriorKind.LOG, 0.013, 0.3, "1", "a test"), -20.0) > 0.0


@pytest.mark.parametrize(
    "name", ["rolling_resistance", "drag_area_m2", "drivetrain_efficiency", "auxiliary_w"]
)
def test_stated_value_moves_and_narrows_the_prior(name: str) -> None:
    handbook = CONFIG.priors[name]
    stated = 0.9 * handbook.center
    prior = prior_of(RideSheet(vehicle=VehicleSheet(**{name: stated})), name)
    assert prior.center == stated
    assert prior.spread < 0.6 * handbook.spread
    assert prior_of(RideSheet(), name) == handbook


@pytest.mark.parametrize(
    "vehicle",
    [VehicleSheet(auxiliary_w=0.0), VehicleSheet(drivetrain_efficiency=1.0)],
)
def test_nothing_has_a_place_on_the_scale(vehicle: VehicleSheet) -> None:
    """No auxiliary power, no loss: legal, and other rides can be pooled with it."""
    for item in parameters_of(RideSheet(vehicle=vehicle)).items:
        assert np.isfinite(natural(item.prior, item.prior.center))
        assert np.isfinite(value_of(item.prior, 3.0))


def test_kind_of_vehicle_moves_but_does_not_narrow() -> None:
    kind = CONFIG.vehicles["e-bike"]
    prior = prior_of(RideSheet(vehicle=VehicleSheet(name="e-bike"), kind=kind), "drag_area_m2")
    assert prior.center == kind.drag_area_m2
    assert prior.spread == CONFIG.priors["drag_area_m2"].spread


def test_what_is_stated_wins_over_the_kind() -> None:
    vehicle = VehicleSheet(name="e-bike", drag_area_m2=0.5)
    sheet = RideSheet(vehicle=vehicle, kind=CONFIG.vehicles["e-bike"])
    assert prior_of(sheet, "drag_area_m2").center == 0.5


def test_masses_add_up() -> None:
    sheet = RideSheet(vehicle=VehicleSheet(mass_kg=18.0), rider=RiderSheet(mass_kg=80.0))
    prior = prior_of(sheet, "mass_kg")
    assert prior.center == 98.0
    assert prior.spread < 0.3 * prior_of(RideSheet(), "mass_kg").spread


def test_usable_capacity() -> None:
    usable = prior_of(RideSheet(vehicle=VehicleSheet(battery_usable_wh=400.0)), "battery_usable_wh")
    nominal = prior_of(
        RideSheet(vehicle=VehicleSheet(battery_nominal_wh=400.0)), "battery_usable_wh"
    )
    nothing = prior_of(RideSheet(), "battery_usable_wh")
    assert usable.center == 400.0
    assert 300.0 < nominal.center < 400.0
    assert usable.spread < nominal.spread < nothing.spread


@pytest.mark.parametrize(
    ("from_deg", "east", "north"), [(270.0, 1.0, 0.0), (0.0, 0.0, -1.0), (225.0, 0.71, 0.71)]
)
def test_wind_blows_to_where_it_does_not_come_from(
    from_deg: float, east: float, north: float
) -> None:
    sheet = RideSheet(weather=WeatherSheet(wind_speed_m_s=6.0, wind_from_deg=from_deg))
    center = np.array(
        [prior_of(sheet, name).center for name in ("wind_east_m_s", "wind_north_m_s")]
    )
    assert center / np.hypot(*center) == pytest.approx([east, north], abs=0.01)
    assert 0.0 < np.hypot(*center) < 6.0  # weaker at rider height


def test_wind_speed_without_direction_widens() -> None:
    prior = prior_of(RideSheet(weather=WeatherSheet(wind_speed_m_s=8.0)), "wind_east_m_s")
    assert prior.center == 0.0
    assert prior.spread > CONFIG.priors["wind_m_s"].spread


def test_unknowns_that_come_with_the_sheet() -> None:
    plain = parameters_of(RideSheet(vehicle=VehicleSheet(regenerative_braking=False))).index
    assert not {"regenerative_share", "pedal_power_w", "charger_efficiency"} & set(plain)
    sheet = RideSheet(
        vehicle=VehicleSheet(regenerative_braking=True), recharge=RechargeSheet(wall_energy_wh=300)
    )
    more = parameters_of(sheet, pedalling_unknown=True).index
    assert {"regenerative_share", "pedal_power_w", "charger_efficiency"} <= set(more)
    assert {"surface_ratio.asphalt", "surface_ratio.untagged"} <= set(plain)


def test_nobody_said_whether_it_regenerates() -> None:
    """Then next to nothing is as likely as a third."""
    stated = prior_of(
        RideSheet(vehicle=VehicleSheet(regenerative_braking=True)), "regenerative_share"
    )
    unstated = prior_of(RideSheet(), "regenerative_share")
    assert value_of(unstated, 1.0) < 0.02  # scores are of the part that does not return
    assert value_of(unstated, -1.0) == pytest.approx(stated.center, abs=0.1)
