"""How the energy by cause depends on the unknowns, against differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.allocate.builders import legs_of
from tests.motion.builders import plain_ride
from tests.property.test_loads import PEDALLED, VALUES
from wherewatt.allocate.cause_slopes import weighed_causes
from wherewatt.allocate.loads import CAUSES, Legs, leg_loads
from wherewatt.arrays import FloatArray

RIDE = plain_ride(duration_s=900.0)
HEIGHT_M = 25.0 * np.sin(RIDE.distance_m / 250.0)
WEIGHT = np.linspace(0.7, 1.3, len(RIDE.standing))


def legs() -> Legs:
    plain = legs_of(RIDE, HEIGHT_M)
    surface = (np.arange(len(plain.time_s)) > 300).astype(np.intp)
    return replace(plain, surface=surface, surfaces=("asphalt", "gravel"))


def by_cause(values: dict[str, float]) -> FloatArray:
    return np.asarray(leg_loads(legs(), values).causes @ WEIGHT)


@pytest.mark.parametrize("values", [VALUES, PEDALLED], ids=["motor", "pedals"])
def test_by_parameters(values: dict[str, float]) -> None:
    slopes = weighed_causes(leg_loads(legs(), values), WEIGHT).by_parameter
    assert set(slopes) == set(values)
    for name, slope in slopes.items():
        step = 1e-5 * max(abs(values[name]), 1e-2)
        up, down = (by_cause({**values, name: values[name] + way * step}) for way in (1.0, -1.0))
        expected = (up - down) / (2.0 * step)
        scale = np.max(np.abs(expected))
        assert slope == pytest.approx(expected, abs=2e-3 * scale), name


@pytest.mark.parametrize("values", [VALUES, PEDALLED], ids=["motor", "pedals"])
def test_causes_change_by_as_much_as_the_battery(values: dict[str, float]) -> None:
    loads = leg_loads(legs(), values)
    causes = weighed_causes(loads, WEIGHT)
    for name, slope in causes.by_parameter.items():
        assert slope.sum() == pytest.approx(loads.slopes[name] @ WEIGHT, rel=1e-9), name
    per_work = weighed_causes(loads, np.ones_like(WEIGHT)).per_work
    assert sum(per_work.values()) == pytest.approx(loads.wheel_gain, abs=1e-12)
    assert set(per_work) <= set(CAUSES)
