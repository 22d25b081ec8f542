"""Height between the posts of an even grid: bilinear, with voids filled.

Cubic convolution was tried and left out. Tiles err over a few hundred metres; the sharper kernel
follows these errors and the rounding to whole metres more closely than the ground, so that grades
over 100 m came out worse (`python -m benchmarks.terrain`).
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from wherewatt.arrays import FloatArray, IntArray
from wherewatt.terrain.voids import fill_posts

LOWEST_M, HIGHEST_M = -1000.0, 9000.0  # what lies outside is no height of land but a void

_METRES_PER_DEGREE = 111_195.0  # on a sphere of 6371.009 km


class PostGrid(Protocol):
    """Heights at the posts of one even grid."""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of posts, at least two of each."""
        ...

    def squares(self, top: IntArray, left: IntArray) -> list[FloatArray]:
        """Heights of the posts around n squares, four times (n,) [m]; NaN for a void.

        In the order (top, left), (top, right), (bottom, left), (bottom, right).
        """
        ...

    def window(self, top: int, left: int, shape: tuple[int, int]) -> FloatArray:
        """Heights of a block of posts within the grid [m]; NaN for a void."""
        ...


def interpolate(
    grid: PostGrid, row: FloatArray, column: FloatArray, spacing_m: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Bilinear height at fractional rows and columns; the grid's edge goes on beyond it.

    Parameters
    ----------
    spacing_m : distance between rows and between columns [m].

    Returns
    -------
    (n,) height [m] and (n,) distance of the known posts it was taken from [m]: 0 where no void
    bears weight, infinite (with the height NaN) where there is no known post within reach.
    """
    rows, columns = grid.shape
    down, right = np.clip(row, 0.0, rows - 1.0), np.clip(column, 0.0, columns - 1.0)
    top, left = down.astype(np.intp), right.astype(np.intp)
    np.minimum(top, rows - 2, out=top)
    np.minimum(left, columns - 2, out=left)
    down -= top
    right -= left
    posts = grid.squares(top, left)
    upper, lower = _between(posts[0], posts[1], right), _between(posts[2], posts[3], right)
    height_m, void_m = _between(upper, lower, down), np.zeros(len(row))
    odd = np.flatnonzero(np.isnan(height_m))
    if len(odd):
        height_m[odd], void_m[odd] = _over_voids(
            grid, (top[odd], left[odd]), (down[odd], right[odd]), spacing_m
        )
    return height_m, void_m


def _between(first: FloatArray, second: FloatArray, part: FloatArray) -> FloatArray:
    """Part of the way from the first to the second; both are overwritten, which saves memory."""
    second -= first
    second *= part
    first += second
    return first


def _over_voids(
    grid: PostGrid,
    square: tuple[IntArray, IntArray],
    part: tuple[FloatArray, FloatArray],
    spacing_m: tuple[float, float],
) -> tuple[FloatArray, FloatArray]:
    """Height and distance in squares with a void corner; one without weight does not matter."""
    down, right = part
    weight = np.stack(
        [(1 - down) * (1 - right), (1 - down) * right, down * (1 - right), down * right]
    )
    posts = np.stack(grid.squares(*square))
    row = square[0] + np.array([[0], [0], [1], [1]])
    column = square[1] + np.array([[0], [1], [0], [1]])
    bears = weight > 1e-9
    wanted = np.isnan(posts) & bears
    distance_m = np.zeros_like(posts)
    posts[wanted], distance_m[wanted] = fill_posts(
        grid.shape, grid.window, (row[wanted], column[wanted]), spacing_m
    )
    height_m = np.sum(np.where(bears, weight * posts, 0.0), axis=0)
    # The errors of neighbouring filled posts are alike, so their distances add up as they are.
    void_m = np.sum(np.where(wanted, weight * distance_m, 0.0), axis=0)
    return height_m, np.where(np.isnan(height_m), np.inf, void_m)


def without_impossible(height_m: FloatArray) -> FloatArray:
    """Heights with NaN for what is no height of land; works in place."""
    if not (height_m.min() >= LOWEST_M and height_m.max() <= HIGHEST_M):  # NaN comes in here too
        height_m[~((height_m >= LOWEST_M) & (height_m <= HIGHEST_M))] = np.nan
    return height_m


def degrees_to_metres(latitude_deg: float) -> tuple[float, float]:
    """Metres in a degree of latitude and in one of longitude, to within 1 %."""
    cosine = float(np.cos(np.deg2rad(latitude_deg)))
    return _METRES_PER_DEGREE, max(1e-3, cosine) * _METRES_PER_DEGREE
