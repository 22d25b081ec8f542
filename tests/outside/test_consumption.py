"""Consumption from recharge energy, as the type-approval standards reckon it.

ISO 13064-1:2012 and Regulation (EU) 134/2014, annex VII: energy from the mains over distance. Here
450 Wh ± 1 % from the wall for 30 km ± 0.5 %, of which 0.87 ± 0.03 reach the battery; combined to
first order (JCGM 100:2008, 5.1.2), worked out in closed form:
15.000 ± 0.168 Wh/km at the wall, 13.050 ± 0.473 Wh/km at the battery.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.allocate.builders import CONFIG, make_evidence
from tests.motion.builders import plain_ride
from wherewatt.allocate.estimate import Estimate, estimate_ride
from wherewatt.allocate.ledger import Ledger, Measure, build_ledger
from wherewatt.allocate.parameters import Parameters
from wherewatt.ingest.sheet import RechargeSheet

RIDE = plain_ride(duration_s=5006.0, speed_m_s=6.0, stops=())  # it takes 36 m to get going
WALL_WH, KILOMETRES = 450.0, 30.0
DISTANCE_SHARE = 0.005  # the package takes distance as exact; its share is added here


def with_spreads(parameters: Parameters, spreads: dict[str, float]) -> Parameters:
    """The same unknowns, some of them known better or worse."""
    return Parameters(
        tuple(
            replace(item, prior=replace(item.prior, spread=spreads[item.name]))
            if item.name in spreads
            else item
            for item in parameters.items
        )
    )


def measured(recharge: RechargeSheet, **spreads: float) -> tuple[Estimate, Ledger]:
    """The estimate from recharge energy alone: beforehand, next to nothing is known of the road."""
    evidence = make_evidence(RIDE, recharge=recharge)
    spreads = {"rolling_resistance": 3.0, **spreads}
    estimate = estimate_ride(
        replace(evidence, parameters=with_spreads(evidence.parameters, spreads))
    )
    assert estimate.solution.converged
    return estimate, build_ledger(estimate)


def sd_with_distance(per_km: Measure) -> float:
    return float(np.hypot(per_km.sd, DISTANCE_SHARE * per_km.mean))


def test_ride_is_as_long_as_the_example() -> None:
    assert RIDE.distance_m[-1] == pytest.approx(1000.0 * KILOMETRES, rel=1e-9)


def test_battery_energy_from_the_wall() -> None:
    recharge = RechargeSheet(wall_energy_wh=WALL_WH, charger_efficiency=0.87)
    estimate, ledger = measured(recharge, charger_efficiency=0.03)
    assert estimate.values["charger_efficiency"] == pytest.approx(0.87, abs=2e-3)
    assert ledger.wh_per_km.mean == pytest.approx(13.050, rel=2e-3)
    assert sd_with_distance(ledger.wh_per_km) == pytest.approx(0.473, rel=0.01)


def test_energy_at_the_wall() -> None:
    """With a charger that loses nothing, the wall's energy is the battery's."""
    recharge = RechargeSheet(wall_energy_wh=WALL_WH, charger_efficiency=1.0)
    _, ledger = measured(recharge, charger_efficiency=1e-6)
    assert ledger.wh_per_km.mean == pytest.approx(15.000, rel=1e-3)
    assert sd_with_distance(ledger.wh_per_km) == pytest.approx(0.168, rel=0.01)


def test_wall_and_pack_meter_together() -> None:
    """Two measurements of one energy weigh by their variances (closed form, to first order).

    Wall: 391.5 Wh with relative sd √(0.01² + (0.03/0.87)²). Meter: 380 Wh with 2 %.
    """
    recharge = RechargeSheet(wall_energy_wh=WALL_WH, charger_efficiency=0.87, metered_wh=380.0)
    _, ledger = measured(recharge, charger_efficiency=0.03)
    share = np.array([np.hypot(0.01, 0.03 / 0.87), CONFIG.estimate.metered_spread])
    weight = 1.0 / np.square(share)
    wanted = np.exp(weight @ np.log([391.5, 380.0]) / weight.sum())
    assert ledger.total.mean == pytest.approx(wanted, rel=2e-3)
    assert ledger.total.sd / ledger.total.mean == pytest.approx(weight.sum() ** -0.5, rel=0.02)


def test_range_keeps_the_correlation() -> None:
    """A full charge over consumption: the battery of 400 Wh is stated to some percent of its own.

    Recharge energy says nothing of the capacity, so the two errors are independent and add in
    squares (JCGM 100:2008, 5.1.6).
    """
    recharge = RechargeSheet(wall_energy_wh=WALL_WH, charger_efficiency=0.87)
    estimate, ledger = measured(recharge, charger_efficiency=0.03)
    usable = estimate.values["battery_usable_wh"]
    shares = (
        ledger.wh_per_km.sd / ledger.wh_per_km.mean,
        estimate.value_sds["battery_usable_wh"] / usable,
    )
    assert ledger.full_charge_km.mean == pytest.approx(usable / ledger.wh_per_km.mean, rel=1e-9)
    share = ledger.full_charge_km.sd / ledger.full_charge_km.mean
    assert share == pytest.approx(np.hypot(*shares), rel=1e-3)
