"""The ledger: every sum is a sum over legs, every number carries its error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.allocate.builders import SHEET, make_evidence, make_shown
from tests.motion.builders import plain_ride
from wherewatt.allocate.estimate import Estimate, estimate_ride
from wherewatt.allocate.ledger import Z90, Ledger, Measure, _add_terrain_edges, build_ledger
from wherewatt.allocate.loads import CAUSES
from wherewatt.sections.cutting import Sections

RIDE = plain_ride(duration_s=2400.0)
AT_S = np.arange(0.0, 2401.0, 400.0)


@pytest.fixture(scope="module")
def estimate() -> Estimate:
    shown = make_shown(RIDE, AT_S, 90.0 - 3.0 * np.arange(len(AT_S)))
    height = 12.0 * np.sin(RIDE.distance_m / 700.0)
    return estimate_ride(make_evidence(RIDE, shown=shown, height_m=height))


@pytest.fixture(scope="module")
def ledger(estimate: Estimate) -> Ledger:
    return build_ledger(estimate)


def test_sections_and_causes_add_up(ledger: Ledger) -> None:
    total = ledger.total.mean
    assert ledger.leg_wh.sum() == pytest.approx(total, rel=1e-12)
    assert ledger.section_wh.sum() == pytest.approx(total, rel=1e-12)
    assert sum(measure.mean for measure in ledger.by_cause.values()) == pytest.approx(
        total, rel=1e-12
    )
    assert sum(measure.mean for measure in ledger.section_measures) == pytest.approx(
        total, rel=1e-12
    )
    assert list(ledger.by_cause) == list(CAUSES)


def test_legs_are_the_cells_the_estimate_was_made_on(estimate: Estimate, ledger: Ledger) -> None:
    assert estimate.cells.sums(ledger.leg_wh.sum(axis=0)) == pytest.approx(
        estimate.cell_energy.wh, rel=1e-9
    )


def test_error_of_the_total_is_that_of_its_sections(ledger: Ledger) -> None:
    assert ledger.total.sd == pytest.approx(np.sqrt(ledger.section_covariance.sum()), rel=1e-9)


def test_a_terrain_edge_moves_energy_from_section_to_section() -> None:
    """Some metres at the difference of consumption, off one and onto the other."""
    ride = plain_ride(stops=())
    third = len(ride.leg_distance_m) // 3
    labels = np.repeat([0, 1, 2], [third, third, len(ride.leg_distance_m) - 2 * third])
    none = ("",) * 3
    sections = Sections(ride, labels, ("flat", "descent", "descent"), none, none, none)
    covariance = np.eye(3)
    _add_terrain_edges(covariance, sections, np.array([20.0, 2.0, 3.0]), 20.0)
    metres = ride.distance_m[-1] / 3.0
    moved = (20.0 * 18.0 / metres) ** 2
    expected = np.eye(3) + moved * np.array([[1, -1, 0], [-1, 1, 0], [0, 0, 0]])
    assert covariance == pytest.approx(expected, abs=1e-3)
    assert covariance.sum() == pytest.approx(3.0)


def test_correlations_are_kept(ledger: Ledger) -> None:
    """Sections share the battery: left alone they would be far more certain together."""
    apart = np.sqrt(np.sum(np.diag(ledger.section_covariance)))
    assert abs(apart / ledger.total.sd - 1.0) > 0.05


def test_causes_carry_the_errors_of_their_parameters(estimate: Estimate, ledger: Ledger) -> None:
    """Auxiliary energy is power times time, so its error is that of the power."""
    assert ledger.by_cause["rolling"].sd > 0.0
    assert ledger.by_cause["air"].sd > 0.0
    assert ledger.by_cause["auxiliary"].sd == pytest.approx(
        estimate.value_sds["auxiliary_w"] * RIDE.time_s[-1] / 3600.0, rel=0.1
    )


def test_interval_is_ninety_per_cent() -> None:
    measure = Measure(10.0, 2.0)
    assert measure.low90 == pytest.approx(10.0 - 1.6449 * 2.0, abs=1e-3)
    assert measure.high90 - measure.low90 == pytest.approx(2.0 * Z90 * 2.0)


def test_consumption_and_range(estimate: Estimate, ledger: Ledger) -> None:
    km = RIDE.distance_m[-1] / 1000.0
    assert ledger.wh_per_km.mean == pytest.approx(ledger.total.mean / km)
    assert ledger.wh_per_km.sd == pytest.approx(ledger.total.sd / km)
    capacity = estimate.values["battery_usable_wh"]
    assert ledger.full_charge_km.mean == pytest.approx(capacity / ledger.wh_per_km.mean)
    assert ledger.full_charge_km.sd > 0.0


@pytest.mark.parametrize("regenerates", [False, True])
def test_range_of_a_ride_downhill(regenerates: bool) -> None:
    """Auxiliary power is drawn all the same, but more may come back: then no range ends."""
    vehicle = replace(SHEET.vehicle, regenerative_braking=regenerates)
    from_top = make_evidence(
        RIDE, height_m=-0.08 * RIDE.distance_m, sheet=replace(SHEET, vehicle=vehicle)
    )
    legs_only = build_ledger(estimate_ride(from_top))
    assert (legs_only.total.mean < 0.0) == regenerates
    assert np.isfinite(legs_only.full_charge_km.mean) != regenerates
