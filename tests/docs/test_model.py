"""docs/model.md says what the code does: its functions exist, its example is worked out."""

from __future__ import annotations

import doctest
import inspect
import re
from types import ModuleType

import numpy as np
import pytest

from tests.allocate.builders import CONFIG
from tests.docs.pages import dotted_names, found, text_of
from wherewatt.allocate.loads import Legs, leg_loads
from wherewatt.physics import air, battery, road_load

TEXT = text_of("model.md")
NAMED = dotted_names(TEXT)


@pytest.mark.parametrize("name", NAMED)
def test_functions_exist(name: str) -> None:
    assert callable(thing := found(name)) or inspect.ismodule(thing)


@pytest.mark.parametrize("module", [air, battery, road_load], ids=lambda module: module.__name__)
def test_every_formula_stands_on_the_page(module: ModuleType) -> None:
    functions = inspect.getmembers(module, inspect.isfunction)
    own = {name for name, function in functions if function.__module__ == module.__name__}
    public = {f"{module.__name__}.{name}" for name in own if not name.startswith("_")}
    assert public <= set(NAMED)


def test_the_example_is_worked_out() -> None:
    """Each pair of lines: the equation in plain arithmetic, and the code."""
    blocks = re.findall(r"```python\n(.*?)```", TEXT, re.DOTALL)
    assert len(blocks) > 5
    example = doctest.DocTestParser().get_doctest("".join(blocks), {}, "model.md", None, 0)
    told: list[str] = []
    assert doctest.DocTestRunner().run(example, out=told.append).failed == 0, "".join(told)


def one_kilometre() -> Legs:
    """The ride of the example: one leg, level and steady."""
    one, zero, speed = np.ones(1), np.zeros(1), 25.0 / 3.6
    return Legs(
        time_s=1000.0 / speed * one,
        distance_m=1000.0 * one,
        speed_m_s=speed * one,
        rise_m=zero,
        square_speed_change=zero,
        heading_rad=zero,
        density_kg_m3=1.225 * one,
        moving=np.ones(1, dtype=bool),
        powered_s=1000.0 / speed * one,
        rider_j=zero,
        surface=np.zeros(1, dtype=np.intp),
        surfaces=("asphalt",),
        rotating_mass_kg=1.5,
    )


def test_the_whole_balance_gives_the_example() -> None:
    """11.12251 Wh/km: road load in closed form over 0.75, and 5 W; worked out by hand."""
    values = {
        "mass_kg": 100.0,
        "rolling_resistance": 0.012,
        "surface_ratio.asphalt": 1.0,
        "drag_area_m2": 0.60,
        "wind_east_m_s": 0.0,
        "wind_north_m_s": 0.0,
        "drivetrain_efficiency": 0.75,
        "fixed_loss_w": 0.0,
        "winding_loss_w_n2": 0.0,
        "auxiliary_w": 5.0,
        "unsteadiness_m_s2": 0.0,
    }
    battery_wh = leg_loads(one_kilometre(), values).battery_j[0] / 3600.0
    assert battery_wh == pytest.approx(11.12251, abs=1e-5)
    assert "11.1225 Wh/km" in TEXT


def test_numbers_of_the_settings() -> None:
    """Where an equation has the number of a setting in it, it is the shipped one."""
    estimate, assumed = CONFIG.estimate, CONFIG.assumed
    for number in (
        rf"{estimate.callout_sd_points:g}^2 + {estimate.rounding_sd_points:g}^2",
        rf"\left({estimate.refresh_s:g}\,",
        rf"{estimate.near_empty_sd_points:g}^2 & 100\,q < {estimate.near_empty_pct:g}",
        rf"with {estimate.student_dof:g} degrees of freedom",
        rf"\sqrt{{{estimate.stretch_spread:g}^2 + ({estimate.shelter_spread_s_m:g}\,w_{{10}})^2"
        rf" + ({estimate.untagged_spread:g}\,u)^2}}",
        rf"{1.0 - estimate.slow_sag_share:g}\,P_{{15}} + {estimate.slow_sag_share:g}\,P_{{60}}",
        rf"0 ± {estimate.overfull_spread:g}",
        rf"against 1 | {estimate.metered_spread:g} |",
        rf"against 1 | {estimate.wall_energy_spread:g};",
        rf"| {100 * estimate.logged_spread:g} % and {estimate.logged_floor_wh:g} Wh together |",
        rf"of about {estimate.stretch_m:g} m",
        rf"e^{{-{assumed.rolling_per_k:g}\,(t - {assumed.handbook_c:g})}}",
        rf"{assumed.rotating_mass_kg:g} kg",
        rf"times {assumed.wind_height_ratio:g}, is the",
        rf"1 ± {100 * CONFIG.priors['day_factor'].spread:g} %",
        f"{CONFIG.priors['usable_share'].center:g} ± "
        f"{100 * CONFIG.priors['usable_share'].spread:g} %",
        f"At each node of a {CONFIG.terrain.grid_m:g} m grid",
        f"{CONFIG.outlook.draws} times",
    ):
        assert number in TEXT
