"""Analytic derivatives of the cells' energy and of the display against differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.allocate.builders import CONFIG, make_evidence, make_shown
from tests.motion.builders import plain_ride
from tests.property.strategies import QUICK
from wherewatt.allocate.callouts import Load, predict_display
from wherewatt.allocate.cells import CellEnergy, cell_energy, cell_sums, cut_cells
from wherewatt.allocate.loads import leg_loads
from wherewatt.arrays import FloatArray
from wherewatt.physics.battery import charge_surplus

RIDE = plain_ride(duration_s=900.0)
HEIGHT_M = 15.0 * np.sin(RIDE.distance_m / 300.0)
EVIDENCE = make_evidence(RIDE, height_m=HEIGHT_M, section_m=700.0)
CELLS = cut_cells(
    EVIDENCE.sections,
    EVIDENCE.shown,
    replace(CONFIG.estimate, stretch_m=900.0),
    wind_speed_m_s=3.0,
)
MODES = np.random.default_rng(8).normal(0.0, 0.5, (len(EVIDENCE.sections) + 1, 3))
COUNT = len(EVIDENCE.parameters)


def energy_at(scores: FloatArray) -> CellEnergy:
    """Energy of the cells at scores of parameters, stretches and height modes."""
    parameters, legs = EVIDENCE.parameters, EVIDENCE.legs
    edges = MODES @ scores[COUNT + CELLS.stretches :]
    rise = np.diff(edges)[EVIDENCE.sections.leg_section] * CELLS.leg_share
    loads = leg_loads(replace(legs, rise_m=legs.rise_m + rise), parameters.values(scores))
    sums = cell_sums(
        loads.battery_j, loads.slopes, loads.wheel_gain, CELLS.leg_share, CELLS.first_leg
    )
    rises = np.diff(MODES, axis=0)
    return cell_energy(
        CELLS,
        sums,
        parameters=parameters,
        scores=scores,
        rise_modes=rises,
        rise_covariance=rises @ rises.T,
    )


@QUICK
@given(st.integers(0, 2**31))
def test_cell_energy(seed: int) -> None:
    unknowns = COUNT + CELLS.stretches + MODES.shape[1]
    scores = np.random.default_rng(seed).normal(0.0, 0.7, unknowns)
    slopes = energy_at(scores).slopes
    assert slopes.shape == (len(CELLS.first_leg), unknowns)
    step = 1e-5
    for number in range(unknowns):
        moved = np.zeros(unknowns)
        moved[number] = step
        expected = (energy_at(scores + moved).wh - energy_at(scores - moved).wh) / (2.0 * step)
        # A height error also tilts the road a little, which the rolling resistance hardly feels.
        slack = 1e-6 if number < COUNT + CELLS.stretches else 2e-3
        scale = np.max(np.abs(expected), initial=1e-6)
        assert slopes[:, number] == pytest.approx(expected, abs=slack * scale + 1e-9), number


@QUICK
@given(st.integers(0, 2**31))
def test_display(seed: int) -> None:
    """By the energy used and by every parameter of the display, the load held fixed."""
    rng = np.random.default_rng(seed)
    at = np.sort(rng.choice(RIDE.time_s, 6, replace=False))
    shown = make_shown(RIDE, at, rng.uniform(5.0, 95.0, 6), resting=bool(rng.integers(2)))
    used = np.sort(rng.uniform(0.0, 250.0, 6))
    power = rng.uniform(-100.0, 600.0, (2, 6))
    load = Load(power[0], power[1], used / 400.0, 0.9 - used / 400.0, 400.0)
    values = {
        "start_charge": rng.uniform(0.8, 0.97),
        "battery_usable_wh": rng.uniform(330.0, 450.0),
        "display_bend": rng.uniform(0.0, 1.0),
        "display_sag": rng.uniform(0.0, 12.0),
        "display_delay_s": rng.uniform(0.0, 60.0),
    }
    prediction = predict_display(shown, used, load, values)
    assert set(prediction.slopes) == set(values)

    def difference(name: str | None, step: float) -> FloatArray:
        up, down = (
            predict_display(
                shown,
                used + (sign * step if name is None else 0.0),
                load,
                values if name is None else {**values, name: values[name] + sign * step},
            ).percent
            for sign in (1.0, -1.0)
        )
        return (up - down) / (2.0 * step)

    # The bend's slope comes from a table: a few parts in a thousand.
    assert prediction.per_used == pytest.approx(difference(None, 0.5), rel=0.01, abs=1e-4)
    for name, value in values.items():
        expected = difference(name, 2e-3 * max(value, 0.05))
        scale = np.max(np.abs(expected), initial=1e-6)
        assert prediction.slopes[name] == pytest.approx(expected, abs=0.01 * scale), name


@QUICK
@given(st.floats(0.02, 0.98))
def test_surplus(energy: float) -> None:
    step = 5e-3
    up, down = (float(charge_surplus(energy + sign * step)[0]) for sign in (1.0, -1.0))
    assert float(charge_surplus(energy)[1]) == pytest.approx((up - down) / (2 * step), abs=0.01)
