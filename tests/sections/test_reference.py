"""The reference labelling that the segmentation is measured against, on roads worked by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from tests.support.true_sections import GRADE, HELD_HEIGHT_M, HELD_M, flow_of, terrain_of

WAY = np.arange(0.0, 3000.5, 1.0)


def road(*slopes: tuple[float, float, float]) -> np.ndarray:
    """Heights of a road that is level but for slopes (start, length, grade)."""
    return sum(
        (grade * np.clip(WAY - start, 0.0, length) for start, length, grade in slopes),
        start=np.zeros(len(WAY)),
    )


def test_a_level_road_is_flat() -> None:
    stretches = terrain_of(WAY, road())
    assert stretches.labels == ("flat",)
    assert stretches.edges_m.tolist() == [0.0, 3000.0]


def test_a_hill() -> None:
    """The grade over 100 m reaches 2 % where 40 m of a slope of 5 % are in it: 10 m before."""
    stretches = terrain_of(WAY, road((500.0, 600.0, 0.05), (1500.0, 750.0, -0.04)))
    assert stretches.labels == ("flat", "climb", "flat", "descent", "flat")
    assert stretches.edges_m == pytest.approx([0, 490, 1110, 1500, 2250, 3000], abs=11.0)


@pytest.mark.parametrize(
    ("length_m", "grade"), [(1500.0, 0.019), (40.0, 0.05), (130.0, 0.022), (60.0, 0.04)]
)
def test_what_does_not_hold_is_flat(length_m: float, grade: float) -> None:
    assert terrain_of(WAY, road((1000.0, length_m, grade))).labels == ("flat",)


@pytest.mark.parametrize(("length_m", "grade"), [(1500.0, 0.021), (100.0, 0.08), (160.0, 0.03)])
def test_what_holds_is_a_climb(length_m: float, grade: float) -> None:
    assert terrain_of(WAY, road((1000.0, length_m, grade))).labels == ("flat", "climb", "flat")


def test_a_short_dip_does_not_cut_a_climb() -> None:
    dipped = road((500.0, 1500.0, 0.05), (1200.0, 30.0, -0.06))
    assert terrain_of(WAY, dipped).labels == ("flat", "climb", "flat")


@pytest.mark.parametrize("seed", range(4))
def test_every_stretch_holds_and_no_other_cut_agrees_more(seed: int) -> None:
    """Against all cuts of a short road, tried one by one."""
    rng = np.random.default_rng(seed)
    along = np.arange(0.0, 301.0, 1.0)
    height = np.interp(along, np.linspace(0.0, 300.0, 7), np.cumsum(rng.normal(0.0, 3.0, 7)))
    stretches = terrain_of(along, height)
    assert np.diff(stretches.edges_m).min() >= HELD_M - 1e-9
    for label, start, end in zip(
        stretches.labels, stretches.edges_m[:-1], stretches.edges_m[1:], strict=True
    ):
        if label != "flat":
            rise = abs(np.diff(np.interp([start, end], along, height))[0])
            assert rise >= 0.5 * max(HELD_HEIGHT_M, GRADE * (end - start))
    assert _agreement(stretches.labels, stretches.edges_m, along, height) == pytest.approx(
        max(_agreement(*cut, along, height) for cut in _all_cuts()), abs=1e-9
    )


def _all_cuts() -> list[tuple[tuple[str, ...], np.ndarray]]:
    """Every cut of 300 m on the grid into up to three stretches of 100 m or more."""
    kinds = ("flat", "climb", "descent")
    cuts = []
    for count in (1, 2, 3):
        for inner in itertools.combinations(range(10, 21), count - 1):
            edges = np.array([0, *inner, 30]) * 10.0
            if np.diff(edges).min() < HELD_M:
                continue
            for labels in itertools.product(kinds, repeat=count):
                if all(a != b for a, b in itertools.pairwise(labels)):
                    cuts.append((labels, edges))
    return cuts


def _agreement(
    labels: tuple[str, ...], edges: np.ndarray, along: np.ndarray, height: np.ndarray
) -> float:
    """Cells that agree with the grade of the 100 m around; −∞ where a stretch does not hold."""
    grid = np.arange(0.0, 301.0, 10.0)
    half = np.clip(np.minimum(grid, 300.0 - grid), 0.5, 50.0)
    fine = np.linspace(0.0, 1.0, 2001)
    low, high = np.maximum(grid - half, 0.0), np.minimum(grid + half, 300.0)
    windows = low[:, None] + (high - low)[:, None] * fine
    smooth = np.mean(np.interp(windows, along, height), axis=1)
    total = 0.0
    for label, start, end in zip(labels, edges[:-1], edges[1:], strict=True):
        first, last = round(start / 10.0), round(end / 10.0)
        rise = smooth[last] - smooth[first]
        needed = max(HELD_HEIGHT_M, GRADE * (end - start))
        signed = {"flat": np.inf, "climb": rise, "descent": -rise}[label]
        if signed < needed:
            return -np.inf
        grade = np.diff(smooth[first : last + 1]) / 10.0
        kind = np.select([grade >= GRADE, grade <= -GRADE], ["climb", "descent"], "flat")
        total += float(np.sum(kind == label))
    return total


def test_flow_goes_from_stop_to_stop() -> None:
    stretches = flow_of([1000.0, 1400.0, 2400.0, 4000.0, 6000.0, 6900.0], 8000.0)
    assert stretches.labels == ("steady", "stop-and-go", "steady", "stop-and-go", "steady")
    assert stretches.edges_m.tolist() == [0.0, 1000.0, 2400.0, 6000.0, 6900.0, 8000.0]
    assert flow_of([500.0, 2000.0], 3000.0).labels == ("steady",)
    assert flow_of([], 3000.0).labels == ("steady",)
