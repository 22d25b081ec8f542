"""Heights for void posts, from the rim of known posts around them.

Inverse distance weights (Shepard 1968, Proc. 23rd ACM National Conference 517–524) over all rim
posts within reach. Such weights are among the best choices for small and medium voids (Reuter,
Nelson, Jarvis 2007, Int. J. Geogr. Inf. Sci. 21:983–1008), and never leave the range of the rim.
In holes punched into three tiles the third power erred 3 to 7 % less than the second; a membrane
over the whole void would have gained another 2 to 10 %.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray

REACH_M = 1000.0
_POWER = 3.0
_MOST_POSTS = 256  # reach in posts, which bounds the memory for very fine grids
_LEAST_POSTS = 2  # … and for very coarse ones the posts next to a void count
_BLOCK = 128  # void posts are filled block by block of so many rows and columns
_PAIRS = 1_000_000  # void posts times rim posts at once

Window = Callable[[int, int, tuple[int, int]], FloatArray]


def fill_posts(
    shape: tuple[int, int],
    window: Window,
    post: tuple[IntArray, IntArray],
    spacing_m: tuple[float, float],
) -> tuple[FloatArray, FloatArray]:
    """Heights for void posts and their distance to the nearest known post [m].

    Parameters
    ----------
    shape : rows and columns of the grid.
    window : gives the heights of a block: top row, left column, shape.
    post : (n,) rows and columns of the void posts.
    spacing_m : distance between rows and between columns [m].

    Returns
    -------
    (n,) height, NaN where no known post is within reach, and (n,) distance, infinite there.
    """
    place, same = np.unique(np.stack(post), axis=1, return_inverse=True)
    height = np.full(place.shape[1], np.nan)
    distance = np.full(place.shape[1], np.inf)
    block, member = np.unique(place // _BLOCK, axis=1, return_inverse=True)
    for index in range(block.shape[1]):
        here = np.flatnonzero(member.ravel() == index)
        rim_place, rim_height = _rim(shape, window, place[:, here], spacing_m)
        if len(rim_height):
            height[here], distance[here] = _weighted(
                place[:, here], rim_place, rim_height, np.array(spacing_m)
            )
    return height[same.ravel()], distance[same.ravel()]


def _rim(
    shape: tuple[int, int], window: Window, place: IntArray, spacing_m: tuple[float, float]
) -> tuple[IntArray, FloatArray]:
    """Rows and columns (2, k) and heights (k,) of the known posts beside a void, near places."""
    reach = np.clip(np.ceil(REACH_M / np.array(spacing_m)), _LEAST_POSTS, _MOST_POSTS)
    beyond = reach.astype(np.intp) + 1  # one more tells whether the last is beside a void
    first = np.maximum(place.min(axis=1) - beyond, 0)
    end = np.minimum(place.max(axis=1) + beyond + 1, shape)
    extent = end - first
    heights = window(int(first[0]), int(first[1]), (int(extent[0]), int(extent[1])))
    rim = _beside_void(np.isnan(heights))
    return np.argwhere(rim).T + first[:, np.newaxis], heights[rim]


def _beside_void(void: BoolArray) -> BoolArray:
    """Known posts that have a void among their eight neighbours."""
    wide = np.pad(void, 1)
    along = wide[:-2] | wide[1:-1] | wide[2:]
    return (along[:, :-2] | along[:, 1:-1] | along[:, 2:]) & ~void


def _weighted(
    place: IntArray, rim_place: IntArray, rim_height: FloatArray, spacing_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    reach_m = max(REACH_M, _LEAST_POSTS * float(spacing_m.max()))
    height, distance = np.empty(place.shape[1]), np.empty(place.shape[1])
    step = max(1, _PAIRS // len(rim_height))
    for first in range(0, place.shape[1], step):
        part = slice(first, first + step)
        away = (place[:, part, np.newaxis] - rim_place[:, np.newaxis]) * spacing_m.reshape(2, 1, 1)
        apart_m = np.hypot(away[0], away[1])
        nearest_m = apart_m.min(axis=1)
        # Relative to the nearest one, so that no weight is too small or too large a number.
        weight = np.where(apart_m <= reach_m, (nearest_m[:, np.newaxis] / apart_m) ** _POWER, 0.0)
        near = nearest_m <= reach_m
        total = np.where(near, weight.sum(axis=1), 1.0)
        height[part] = np.where(near, weight @ rim_height / total, np.nan)
        distance[part] = np.where(near, nearest_m, np.inf)
    return height, distance
