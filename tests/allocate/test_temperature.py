"""Cold: less in the pack, more rolling resistance, and less certainty."""

from __future__ import annotations

import numpy as np
import pytest

from tests.allocate.builders import CONFIG, RIDE_OF_AN_HOUR, make_evidence
from wherewatt.allocate.estimate import estimate_ride
from wherewatt.allocate.ledger import Measure, build_ledger
from wherewatt.allocate.temperature import rolling_at, usable_at
from wherewatt.ingest.sheet import RiderSheet, RideSheet, VehicleSheet, WeatherSheet

TEMPERATURES_C = (-15.0, -5.0, 5.0, 15.0, 25.0, 35.0)
ROLLING, USABLE = CONFIG.priors["rolling_resistance"], CONFIG.priors["usable_share"]


def range_at(temperature_c: float | None, **stated: float) -> Measure:
    sheet = RideSheet(
        vehicle=VehicleSheet(mass_kg=18.0, battery_nominal_wh=430.0, **stated),
        rider=RiderSheet(mass_kg=80.0),
        weather=WeatherSheet(temperature_c=temperature_c),
    )
    return build_ledger(estimate_ride(make_evidence(RIDE_OF_AN_HOUR, sheet=sheet))).full_charge_km


def test_colder_rides_get_less_range() -> None:
    ranges = [range_at(temperature).mean for temperature in TEMPERATURES_C]
    assert np.all(np.diff(ranges) > 0.0)
    # Capacity 10 % (O'Kane et al. 2022) and half of the load a fifth more: a fifth to a third.
    assert 0.65 < range_at(-10.0).mean / range_at(20.0).mean < 0.85


def test_cold_is_less_certain() -> None:
    cold, mild = range_at(-10.0), range_at(20.0)
    assert cold.sd / cold.mean > 1.02 * mild.sd / mild.mean


def test_an_unknown_temperature_is_the_handbooks() -> None:
    assert range_at(None).mean == pytest.approx(range_at(CONFIG.assumed.handbook_c).mean)


def test_what_is_stated_stays() -> None:
    """Capacity and rolling resistance as stated are those of the ride; its other causes stay."""
    stated = {"battery_usable_wh": 400.0, "rolling_resistance": 0.015}
    assert range_at(-10.0, **stated).mean == pytest.approx(range_at(30.0, **stated).mean)


def test_rolling_resistance_near_25_degrees() -> None:
    """F = F₂₅ / (1 + 0.008 (t − 25)), ISO 28580:2018 (value from memory), from 20 to 30 °C."""
    at_25 = rolling_at(ROLLING, 25.0, CONFIG.assumed).center
    for celsius in (20.0, 22.5, 27.5, 30.0):
        factor = rolling_at(ROLLING, celsius, CONFIG.assumed).center / at_25
        assert factor == pytest.approx(1.0 / (1.0 + 0.008 * (celsius - 25.0)), abs=1.5e-3)


def test_doubt_grows_with_the_correction() -> None:
    for change in (rolling_at, usable_at):
        prior = ROLLING if change is rolling_at else USABLE
        spreads = [change(prior, celsius, CONFIG.assumed).spread for celsius in (20.0, 5.0, -15.0)]
        assert spreads[0] == pytest.approx(prior.spread)
        assert np.all(np.diff(spreads) > 0.0)


@pytest.mark.parametrize(("celsius", "low", "high"), [(0.0, 0.85, 0.95), (-10.0, 0.75, 0.85)])
def test_the_prior_admits_what_was_measured(celsius: float, low: float, high: float) -> None:
    """Capacity kept in the cold, of that at 25 °C: Jaguemont, Boulon and Dubé (2016), Appl. Energy
    164:99 (values from memory)."""
    cold, warm = (usable_at(USABLE, celsius, CONFIG.assumed) for celsius in (celsius, 25.0))
    of_cold = np.sqrt(cold.spread**2 - USABLE.spread**2)
    for kept in (low, high):
        assert abs(np.log(kept * warm.center / cold.center)) < 2.0 * of_cold + 0.02
