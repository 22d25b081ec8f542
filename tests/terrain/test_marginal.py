"""What is known of a few heights, against the inverse of the whole information matrix.

The inverse of the full matrix (numpy) is the independent way; no number here has another source.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.terrain.models import NOISE, drawn, full_information, solved
from wherewatt.arrays import FloatArray, IntArray
from wherewatt.terrain.bands import factorised
from wherewatt.terrain.model import HEIGHT, STATES, WANDER, WEATHER
from wherewatt.terrain.structures import _deck

NODES = 60


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
    ],
)
def test_covariance_of_some_heights(asked: list[int]) -> None:
    observed = drawn(NODES, 1)
    node = np.array(asked)
    expected = of_heights(np.linalg.inv(full_information(observed)), node)
    assert solved(observed).height_covariance(node) == pytest.approx(expected, rel=1e-6)


def test_what_was_asked_before_changes_nothing() -> None:
    observed = drawn(NODES, 2)
    asked_before = solved(observed)
    for start in range(0, 20, 3):
        asked_before.height_covariance(np.arange(start, NODES, 7))
    node = np.arange(0, NODES, 5)
    again = asked_before.height_covariance(node)
    assert np.array_equal(again, solved(observed).height_covariance(node))


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
    tied = solved(observed).tied(later, first, sd_m)
    covariance = tied.height_covariance(node)
    assert np.array_equal(covariance, covariance.T)
    assert covariance == pytest.approx(of_heights(np.linalg.inv(full), node), rel=1e-6)


@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("cells", [10, 60])
def test_imitated_part_of_a_hump(cells: int, tied: bool) -> None:
    """The surroundings of a hump, or of two visits to it, are enough: half a percent is left out.

    What counts is the information that remains once the imitated part is taken off.
    """
    observed = drawn(900, 4)
    ride = solved(observed)
    full = full_information(observed)
    visits = [200, 650] if tied else [420]
    if tied:
        later, first = np.arange(600, 760, 8), np.arange(150, 310, 8)
        rows = np.zeros((len(later), len(full)))
        place = np.arange(len(later))
        rows[place, STATES * later + HEIGHT], rows[place, STATES * first + HEIGHT] = 1.0, -1.0
        full += rows.T @ rows / 0.25
        ride = ride.tied(later, first, 0.5)
    node = np.concatenate([start + np.arange(cells + 1) for start in visits])
    pull = ride.recorded_weight[node] * np.tile(_deck(cells), len(visits))
    right = np.zeros(len(full))
    for state in (HEIGHT, WANDER, WEATHER):
        right[STATES * node + state] = pull
    plain = float(pull @ np.tile(_deck(cells), len(visits)))
    exact = plain - float(right @ np.linalg.solve(full, right))
    assert plain - ride.imitated(node, pull) == pytest.approx(exact, rel=5e-3)


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
