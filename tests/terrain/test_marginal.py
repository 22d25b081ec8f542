"""What is known of a few heights, against the inverse of the whole information matrix.

The inverse of the full matrix (numpy) is the independent way; no number here has another source.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.terrain.builders import TERRAIN
from tests.terrain.models import NOISE, drawn, full_information, solved
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.terrain import information as information_module
from wherewatt.terrain import marginal
from wherewatt.terrain.bands import factorised
from wherewatt.terrain.humps import deck
from wherewatt.terrain.model import HEIGHT, STATES, WANDER, WEATHER, Observed
from wherewatt.terrain.solution import Pairs

NODES = 60
GRID_M = TERRAIN.grid_m


def of_heights(matrix: FloatArray, node: IntArray) -> FloatArray:
    at = STATES * node + HEIGHT
    return matrix[np.ix_(at, at)]


@pytest.mark.parametrize(
    "asked",
    [
        [0],
        [NODES - 1],
        [0, 1, 2],
        [NODES - 3, NODES - 2, NODES - 1],
        [5, 20, 21, 40],
        [40, 7, 7, 58],  # in any order, one of them twice
        list(range(NODES)),
        list(range(3, NODES, 2)),
    ],
)
def test_covariance_of_some_heights(asked: list[int]) -> None:
    observed = drawn(NODES, 1)
    node = np.array(asked)
    expected = of_heights(np.linalg.inv(full_information(observed)), node)
    assert solved(observed).height_covariance(node) == pytest.approx(expected, rel=1e-6)


def test_chain_joined_by_more_nodes_is_that_of_all() -> None:
    factor = solved(drawn(NODES, 2)).factor
    some, more = np.array([4, 9, 10, 40]), np.array([0, 9, 11, 12, 39, 59])
    joined = marginal.Chain.of(factor, some).joined_by(factor, more)
    whole = marginal.Chain.of(factor, np.union1d(some, more))
    assert np.array_equal(joined.node, whole.node)
    assert joined.height_covariance() == pytest.approx(whole.height_covariance(), rel=1e-12)
    again = joined.joined_by(factor, more)
    assert np.array_equal(again.height_covariance(), joined.height_covariance())


def test_stretches_looked_at_apart_or_together(monkeypatch: pytest.MonkeyPatch) -> None:
    observed = drawn(NODES, 2)
    node = np.array([2, 3, 11, 30, 31, 50])
    together = solved(observed).height_covariance(node)
    monkeypatch.setattr(marginal, "_TOGETHER", 10)
    assert solved(observed).height_covariance(node) == pytest.approx(together, rel=1e-12)


def known_at_both_ends() -> Observed:
    """A ride on which the tile is not known for 3 km, but before and behind."""
    observed = drawn(400, 7)
    observed.tile_m[60:360] = np.nan
    return observed


@pytest.mark.parametrize("least", [0, 1000])
def test_covariance_where_the_tile_is_not_known(
    monkeypatch: pytest.MonkeyPatch, least: int
) -> None:
    """The tile's error is left out of stretches without it, or not: no matter."""
    monkeypatch.setattr(marginal, "_WORTH_LEAVING_OUT", least)
    observed = known_at_both_ends()
    node = np.array([20, 40, 59, 60, 61, 62, 100, 180, 181, 300, 340, 358, 359, 360, 380])
    expected = of_heights(np.linalg.inv(full_information(observed)), node)
    assert solved(observed).height_covariance(node) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("known", [[*range(60), *range(360, 400)], [0, 399], [1, 2], [150]])
def test_error_of_the_tile_is_forgotten(monkeypatch: pytest.MonkeyPatch, known: list[int]) -> None:
    """After kilometres without the tile nothing is known of its error: a millimetre at most."""
    observed, node = drawn(400, 7), np.arange(0, 400, 20)
    observed.tile_m[np.setdiff1d(np.arange(400), known)] = np.nan
    found = solved(observed)
    monkeypatch.setattr(information_module, "_FORGOTTEN", 1e6)
    never = solved(observed)
    assert not np.array_equal(found.height_m, never.height_m)
    assert found.height_m == pytest.approx(never.height_m, abs=1e-3)
    assert found.height_covariance(node) == pytest.approx(never.height_covariance(node), rel=1e-3)


def test_covariance_with_ties() -> None:
    """A tie is one more observation: its square in the information matrix."""
    observed = drawn(NODES, 3)
    later, first, sd_m = np.array([50, 54, 58]), np.array([10, 6, 6]), 0.5
    full = full_information(observed)
    for one, other in zip(STATES * later + HEIGHT, STATES * first + HEIGHT, strict=True):
        row = np.zeros(len(full))
        row[one], row[other] = 1.0, -1.0
        full += np.outer(row, row) / sd_m**2
    node = np.array([0, 6, 7, 30, 54, 59])
    tied = solved(observed, tied=Pairs(later, first, sd_m))
    covariance = tied.height_covariance(node)
    assert np.array_equal(covariance, covariance.T)
    assert covariance == pytest.approx(of_heights(np.linalg.inv(full), node), rel=1e-6)


@pytest.mark.parametrize("cells", [5, 30])
def test_imitated_part_of_a_hump(cells: int) -> None:
    """The surroundings of a hump are enough: half a percent is left out.

    What counts is the information that remains once the imitated part is taken off.
    """
    observed = drawn(450, 4, spacing_m=GRID_M)
    ride = solved(observed)
    full = full_information(observed)
    node = 210 + np.arange(cells + 1)
    pull = ride.recorded_weight[node] * deck(cells)
    right = np.zeros(len(full))
    for state in (HEIGHT, WANDER, WEATHER):
        right[STATES * node + state] = pull
    plain = float(pull @ deck(cells))
    exact = plain - float(right @ np.linalg.solve(full, right))
    left = plain - float(ride.imitated(node, pull, np.array([0]))[0])
    assert left == pytest.approx(exact, rel=5e-3)


@pytest.mark.parametrize("cells", [5, 10, 50])
def test_variance_of_a_rise(cells: int) -> None:
    """Against the full covariance: what lies far behind hardly counts."""
    ride = solved(drawn(450, 4, spacing_m=GRID_M))
    first = np.array([0, 40, 215, 390])
    covariance = ride.height_covariance(np.concatenate([first, first + cells]))
    variance, across = np.diag(covariance), np.diag(covariance, len(first))
    exact = variance[:4] + variance[4:] - 2.0 * across
    assert ride.rise_variance(first, first + cells) == pytest.approx(exact, rel=0.02)


def test_imitated_part_at_the_end_of_a_ride() -> None:
    """Visits that end where the ride does, one after the other in any order."""
    observed = drawn(300, 6, spacing_m=GRID_M)
    ride, cells = solved(observed), 10
    full = full_information(observed)
    starts = [NODES, len(observed) - cells - 1, 150]
    node = np.concatenate([start + np.arange(cells + 1) for start in starts])
    pull = ride.recorded_weight[node] * np.tile(deck(cells), len(starts))
    got = ride.imitated(node, pull, (cells + 1) * np.arange(len(starts)))
    for one, imitated in enumerate(got.tolist()):
        own = slice((cells + 1) * one, (cells + 1) * (one + 1))
        right = np.zeros(len(full))
        for state in (HEIGHT, WANDER, WEATHER):
            right[STATES * node[own] + state] = pull[own]
        plain = float(pull[own] @ deck(cells))
        exact = plain - float(right @ np.linalg.solve(full, right))
        assert plain - imitated == pytest.approx(exact, rel=5e-3)


def test_no_factor_of_what_is_no_information() -> None:
    """An error of the program, not of the user: it must not pass unseen."""
    bands = np.ones((8, 9))
    bands[4, 0] = -1.0
    with pytest.raises(np.linalg.LinAlgError, match="unknown 1"):
        factorised(bands)


def test_solution_solves_the_full_system() -> None:
    observed = drawn(NODES, 5)
    tile = observed.spacing_m / NOISE.tile_white_m2_m
    recorded = np.where(observed.count > 0, observed.count / NOISE.recorded_white_m**2, 0.0)
    right = np.zeros((NODES, STATES))
    right[:] = (recorded * np.nan_to_num(observed.recorded_m))[:, np.newaxis]
    right[:, 1] = tile * observed.tile_m
    right[:, HEIGHT] += tile * observed.tile_m
    expected = np.linalg.solve(full_information(observed), right.ravel())
    assert solved(observed).states.ravel() == pytest.approx(expected, abs=1e-7)
