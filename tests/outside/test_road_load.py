"""Road load against published and closed-form values.

Martin: Martin, Milliken, Cobb, McFadden and Coggan (1998), J. Appl. Biomech. 14(3):276, worked
example. The other values are closed forms of the same balance, worked out independently.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.allocate.builders import make_legs, values_of
from wherewatt.allocate.loads import CAUSES, leg_loads
from wherewatt.physics import road_load
from wherewatt.units import STANDARD_GRAVITY_M_S2

# Martin et al. (1998): all inputs but Crr, inertia, radius, bearings and efficiency read from a
# public copy of the example; those are values from memory, consistent with the 213.3 W printed.
MASS_KG, GRADE, DENSITY, GRAVITY = 90.0, 0.003, 1.2234, 9.81
DRAG_AREA_M2 = 0.2565 + 0.0044  # rider and bicycle, and the turning wheels
CRR, ROTATING_KG = 0.0032, 0.14 / 0.311**2
TIME_S, SPEED_M_S, FIRST_M_S, LAST_M_S = 56.42, 471.8 / 56.42, 8.28, 8.45
WIND_M_S, WIND_FROM_DEG, TRAVEL_DEG = 2.94, 310.0, 340.0

# A light vehicle that coasts: 100 kg, 1.5 kg of it again for the wheels.
COAST_KG, COAST_ROTATING_KG, COAST_CRR, COAST_AREA, COAST_DENSITY = 100.0, 1.5, 0.012, 0.6, 1.225


def headwind_of(speed: float, from_deg: float, travel_deg: float) -> float:
    to_rad = np.radians(from_deg + 180.0)
    return float(
        road_load.headwind(
            np.radians(travel_deg),
            wind_east_m_s=speed * np.sin(to_rad),
            wind_north_m_s=speed * np.cos(to_rad),
        )
    )


def martin_terms() -> dict[str, float]:
    """Powers of the worked example [W]."""
    along = SPEED_M_S + headwind_of(WIND_M_S, WIND_FROM_DEG, TRAVEL_DEG)
    change = road_load.kinetic_energy(
        LAST_M_S, mass_kg=MASS_KG, rotating_mass_kg=ROTATING_KG
    ) - road_load.kinetic_energy(FIRST_M_S, mass_kg=MASS_KG, rotating_mass_kg=ROTATING_KG)
    return {
        "air": SPEED_M_S
        * road_load.air_force(along, drag_area_m2=DRAG_AREA_M2, density_kg_m3=DENSITY),
        "rolling": SPEED_M_S
        * road_load.rolling_force(GRADE, mass_kg=MASS_KG, coefficient=CRR, gravity=GRAVITY),
        "bearings": SPEED_M_S * (91.0 + 8.7 * SPEED_M_S) * 1e-3,
        "grade": SPEED_M_S * road_load.gravity_force(GRADE, mass_kg=MASS_KG, gravity=GRAVITY),
        "kinetic": change / TIME_S,
    }


def test_speeds_of_the_worked_example() -> None:
    headwind = headwind_of(WIND_M_S, WIND_FROM_DEG, TRAVEL_DEG)
    assert pytest.approx(8.3623, abs=1e-4) == SPEED_M_S
    assert headwind == pytest.approx(2.5461, abs=1e-3)
    assert SPEED_M_S + headwind == pytest.approx(10.9084, abs=1e-3)


@pytest.mark.parametrize(
    ("term", "power_w"),
    [
        ("air", 158.803),
        ("rolling", 23.626),
        ("bearings", 1.369),
        ("grade", 22.149),
        ("kinetic", 2.305),
    ],
)
def test_terms_of_the_worked_example(term: str, power_w: float) -> None:
    assert martin_terms()[term] == pytest.approx(power_w, abs=0.01)


def test_total_of_the_worked_example() -> None:
    net = sum(martin_terms().values())
    assert net == pytest.approx(208.252, abs=0.01)
    assert net / 0.976 == pytest.approx(213.3, abs=0.1)  # printed total: value from memory
    assert net / 0.97698 == pytest.approx(213.16, abs=0.1)
    assert pytest.approx(1.4475, abs=1e-4) == ROTATING_KG


@pytest.mark.parametrize(
    ("grade_pct", "per_kg", "error_of_small_angle"),
    [  # g sin(atan G), g = 9.80665 m/s²; recomputed independently
        (1, 0.0980616, 5.0e-5),
        (2, 0.1960938, None),
        (3, 0.2940672, 4.5e-4),
        (5, 0.4897207, 1.25e-3),
        (8, 0.7820335, None),
        (10, 0.9757981, 5.0e-3),
        (15, 1.4547229, None),
        (20, 1.9232423, 1.98e-2),
    ],
)
def test_gradient_table(grade_pct: float, per_kg: float, error_of_small_angle: float) -> None:
    force = road_load.gravity_force(grade_pct / 100.0, mass_kg=1.0)
    assert force == pytest.approx(per_kg, abs=1e-7)
    if error_of_small_angle is not None:
        approximate = STANDARD_GRAVITY_M_S2 * grade_pct / 100.0
        assert approximate / force - 1.0 == pytest.approx(error_of_small_angle, rel=0.01)


def test_climbing_energy() -> None:
    # Closed form: 100 kg, 1 km of road at 5 %; 100 m straight up.
    along_the_road = 1000.0 * road_load.gravity_force(0.05, mass_kg=100.0) / 3600.0
    assert along_the_road == pytest.approx(13.60335, abs=1e-5)
    legs = make_legs(np.array([5.0]), distance_m=np.array([2000.0]), rise_m=np.array([100.0]))
    height = leg_loads(legs, values_of()).causes[CAUSES.index("height")]
    assert height[0] / 3600.0 == pytest.approx(27.2407, abs=1e-4)


@pytest.mark.parametrize(
    ("speed_kmh", "energy_wh"), [(15, 0.24113), (20, 0.42867), (25, 0.66980), (40, 1.71468)]
)
def test_kinetic_energy(speed_kmh: float, energy_wh: float) -> None:
    # Closed form, 100 kg.
    energy = road_load.kinetic_energy(speed_kmh / 3.6, mass_kg=100.0) / 3600.0
    assert energy == pytest.approx(energy_wh, abs=1e-5)


def coast_down_force(speed_m_s: float, grade: float = 0.0) -> float:
    """Force against the motion [N]."""
    return float(
        road_load.rolling_force(grade, mass_kg=COAST_KG, coefficient=COAST_CRR)
        + road_load.air_force(speed_m_s, drag_area_m2=COAST_AREA, density_kg_m3=COAST_DENSITY)
        + road_load.gravity_force(grade, mass_kg=COAST_KG)
    )


@pytest.mark.parametrize(
    ("last_kmh", "time_s", "way_m"), [(0.0, 47.551552, 159.266769), (10.0, 25.279482, 129.453703)]
)
def test_coast_down(last_kmh: float, time_s: float, way_m: float) -> None:
    """From 30 km/h, against t = m/√(ac)·[atan(v₀√(c/a)) − atan(v₁√(c/a))] and its distance."""

    def slow_down(_: float, state: np.ndarray) -> list[float]:
        return [-coast_down_force(state[0]) / (COAST_KG + COAST_ROTATING_KG), state[0]]

    def reached(_: float, state: np.ndarray) -> float:
        return float(state[0] - last_kmh / 3.6)

    reached.terminal = True  # type: ignore[attr-defined]
    coast = solve_ivp(
        slow_down, (0.0, 60.0), [30.0 / 3.6, 0.0], events=reached, rtol=1e-10, atol=1e-10
    )
    assert coast.t_events[0][0] == pytest.approx(time_s, abs=2e-6)
    assert coast.y_events[0][0][1] == pytest.approx(way_m, abs=2e-6)


@pytest.mark.parametrize(("grade_pct", "speed_kmh"), [(2, 16.6317), (3, 24.9444), (5, 36.2289)])
def test_terminal_speed_downhill(grade_pct: float, speed_kmh: float) -> None:
    # Closed form √((mg sinβ − Crr·mg·cosβ)/(½ρCdA)).
    assert coast_down_force(speed_kmh / 3.6, -grade_pct / 100.0) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(
    ("vehicle", "speed_kmh", "wh_per_km"),
    [
        ((100.0, 0.60, 0.012, 0.75, 5.0), 25.0, 11.12251),
        ((100.0, 0.60, 0.012, 0.75, 5.0), 15.0, 7.05488),
        ((110.0, 0.55, 0.006, 0.75, 5.0), 25.0, 8.61418),
        ((100.0, 0.65, 0.015, 0.80, 10.0), 40.0, 22.42403),
    ],
)
def test_consumption_at_constant_speed(
    vehicle: tuple[float, float, float, float, float], speed_kmh: float, wh_per_km: float
) -> None:
    # Closed form, still air of 1.225 kg/m³.
    mass, area, crr, efficiency, auxiliary = vehicle
    values = values_of(
        mass_kg=mass,
        drag_area_m2=area,
        rolling_resistance=crr,
        drivetrain_efficiency=efficiency,
        auxiliary_w=auxiliary,
    )
    legs = make_legs(np.array([speed_kmh / 3.6]), distance_m=np.array([1000.0]))
    loads = leg_loads(legs, values)
    assert loads.battery_j[0] / 3600.0 == pytest.approx(wh_per_km, abs=1e-5)


def test_consumption_by_cause() -> None:
    # Closed form: 100 kg, 0.60 m², 0.012, 75 %, 5 W at 25 km/h.
    values = values_of(drivetrain_efficiency=0.75, auxiliary_w=5.0)
    legs = make_legs(np.array([25.0 / 3.6]), distance_m=np.array([1000.0]))
    causes = dict(zip(CAUSES, leg_loads(legs, values).causes[:, 0] / 3600.0, strict=True))
    expected = {"rolling": 3.26888, "air": 4.92300, "drivetrain": 2.73063, "auxiliary": 0.20000}
    assert causes == pytest.approx({cause: expected.get(cause, 0.0) for cause in CAUSES}, abs=1e-5)


def test_out_and_back_in_the_wind() -> None:
    """Mean of (v+w)² and (v−w)² is v² + w²: wind costs ½ρ·CdA·w² on average."""
    speed, wind, way = 7.0, 4.0, 500.0
    legs = make_legs(
        np.array([speed, speed]),
        distance_m=np.array([way, way]),
        heading_rad=np.array([0.0, np.pi]),
    )
    values = values_of(wind_north_m_s=-wind, rolling_resistance=0.03)
    loads = leg_loads(legs, values)
    per_metre = loads.causes[CAUSES.index("wind")].sum() / (2.0 * way)
    assert per_metre == pytest.approx(0.5 * 1.225 * 0.60 * wind**2, rel=1e-12)


@pytest.mark.parametrize(
    ("headwind_m_s", "force_n"),
    [(0.0, 29.49078), (2.0, 41.16911), (4.0, 55.78745), (-2.0, 20.75245), (-4.0, 14.95411)],
)
def test_force_in_the_wind(headwind_m_s: float, force_n: float) -> None:
    # Closed form at 25 km/h, same vehicle as the coast-down.
    force = road_load.rolling_force(0.0, mass_kg=100.0, coefficient=0.012) + road_load.air_force(
        25.0 / 3.6 + headwind_m_s, drag_area_m2=0.6, density_kg_m3=1.225
    )
    assert force == pytest.approx(force_n, abs=1e-5)


@pytest.mark.parametrize("from_deg", [0.0, 35.0, 90.0, 140.0, 270.0])
def test_drag_is_the_part_along_the_road_of_drag_along_the_flow(from_deg: float) -> None:
    """Written out as a vector: ½·ρ·CdA·|v|·v for the whole flow, then its part along the road."""
    riding, wind, heading = 7.0, 5.0, np.radians(20.0)
    to = np.radians(from_deg + 180.0)
    air = np.array([wind * np.sin(to), wind * np.cos(to)])
    road = np.array([np.sin(heading), np.cos(heading)])
    flow = riding * road - air
    vector = 0.5 * 1.2 * 0.6 * np.hypot(*flow) * flow
    parts = {"wind_east_m_s": air[0], "wind_north_m_s": air[1]}
    force = road_load.air_force(
        riding + road_load.headwind(heading, **parts),
        drag_area_m2=0.6,
        density_kg_m3=1.2,
        across_m_s=road_load.crosswind(heading, **parts),
    )
    assert force == pytest.approx(float(vector @ road), rel=1e-12)
