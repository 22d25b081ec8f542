"""Covariance of the heights at some nodes, from the factor of the information matrix.

Given what lies at one node, what was before it is independent of what comes after it. So the
unknowns at the nodes asked for are a Markov chain: each is linear in those at the next one, with a
remainder of its own. Both follow from the stretch of the Cholesky factor between the two nodes
alone (Rue and Held 2005, Gaussian Markov Random Fields, section 2.4.1: the factor is solved
backwards, and what is solved depends on the later unknowns alone), and covariances follow along
the chain. Nothing as long as the ride times the nodes asked for is needed.

What is expected at these nodes follows along the same chain: a 1 stands beside the unknowns, and
what they are in any case is that many times it.

Stretches that know nothing of each other are one banded matrix too, and solved as one. Where the
tile is not known, its error is left out: nothing else hangs on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.terrain.bands import forward
from wherewatt.terrain.information import BAND
from wherewatt.terrain.model import HEIGHT, STATES, TILE_ERROR, WANDER, WEATHER

_JOINT = STATES + 2  # unknowns that part a ride: those of a node, height and tile error of the next
_LINKS = _JOINT + 1  # with a 1 beside them
_BLOCK = 16  # nodes whose chains are followed together
_BELOW = np.tri(_BLOCK, k=-1, dtype=bool)  # the diagonal of a block
_TOGETHER = 5000  # nodes of stretches that are solved together
_WORTH_LEAVING_OUT = 1000  # nodes, from which on it saves time


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The unknowns at some nodes, each following from those at the next one.

    Parameters
    ----------
    node : (j,) different nodes in order.
    step : (j, 7, 7) what the unknowns at a node, and 1, are times those at the next one; the last
        are of themselves.
    remainder : (j, 7, 7) covariance of what they are besides.
    """

    node: IntArray
    step: FloatArray
    remainder: FloatArray

    @classmethod
    def of(cls, factor: FloatArray, node: IntArray, half: FloatArray | None = None) -> Chain:
        """The chain of some nodes, in order.

        Parameters
        ----------
        factor : (9, 4k) lower Cholesky factor of the information matrix, in bands.
        half : (4k,) the factor divided into the right side of what was observed; without, nothing
            is expected.
        """
        ends = np.append(node[1:], factor.shape[1] // STATES)
        return cls(node, *_stretches(factor, node, ends, half))

    def joined_by(self, factor: FloatArray, node: IntArray) -> Chain:
        """The covariance with more nodes: only stretches that they part are looked at again."""
        every = np.unique(np.concatenate([self.node, node]))
        ends = np.append(every[1:], factor.shape[1] // STATES)
        place = np.searchsorted(every, self.node)
        whole = ends[place] == np.append(self.node[1:], ends[-1])
        parted = np.ones(len(every), dtype=bool)
        parted[place[whole]] = False
        step, remainder = np.empty((2, len(every), _LINKS, _LINKS))
        step[place[whole]], remainder[place[whole]] = self.step[whole], self.remainder[whole]
        step[parted], remainder[parted] = _stretches(factor, every[parted], ends[parted], None)
        return Chain(every, step, remainder)

    def height_covariance(self) -> FloatArray:
        """(j, j) covariance of the heights [m²]."""
        return self.heights()[1]

    def heights(self) -> tuple[FloatArray, FloatArray]:
        """(j,) expected heights [m], and (j, j) their covariance [m²].

        From the last block of nodes to the first, each given what lies behind it.
        """
        blocks = self._blocks()
        size, count = _BLOCK, _BLOCK * len(blocks)
        # Rows of heights: covariance with those at all nodes, then with the unknowns behind their
        # block, then what is expected. The same of the unknowns behind the block that is next.
        columns = count + _LINKS + 1
        heights, behind = np.zeros((count, columns)), np.zeros((_LINKS, columns))
        behind[-1, -1] = 1.0
        unknowns = slice(-_LINKS - 1, -1)
        for start in range(count - size, -1, -size):
            within, later = slice(start, start + size), slice(start + size, None)
            block = blocks[start // size]
            step, own = block[:, :_LINKS], block[:, _LINKS:]
            through = step @ behind[:, later]
            near = through[:, unknowns] @ step.T + own
            heights[within, later], behind[:, later] = through[:size], through[size:]
            square = near[:size, :size]
            heights[within, within] = np.where(_BELOW, square.T, square)
            behind[:, within], behind[:, unknowns] = near[size:, :size], near[size:, size:]
        for start in range(0, count, size):
            within, later = slice(start, start + size), slice(start + size, count)
            heights[later, within] = heights[within, later].T
        asked = slice(count - len(self.node), count)
        return heights[asked, -1], heights[asked, asked]

    def _blocks(self) -> FloatArray:
        """(b, 23, 30) the chain in blocks of 16 nodes, each given the unknowns behind its end.

        Rows are the heights at the nodes, then the unknowns at the first; columns what they are
        times those behind, then the covariance of what they are besides with the heights (those of
        a height with later ones only), then with the unknowns. The first block begins with nodes
        that are one with the chain's first.
        """
        count = -(-len(self.node) // _BLOCK)
        missing = count * _BLOCK - len(self.node)
        same = np.broadcast_to(np.eye(_LINKS), (missing, _LINKS, _LINKS))
        shape = count, _BLOCK, _LINKS, _LINKS
        steps = np.concatenate([same, self.step]).reshape(shape)
        remainders = np.concatenate([np.zeros_like(same), self.remainder]).reshape(shape)
        blocks = np.zeros((count, _BLOCK + _LINKS, 2 * _LINKS + _BLOCK))
        first = np.zeros((count, _LINKS, 2 * _LINKS + _BLOCK))
        first[:, :, :_LINKS] = np.eye(_LINKS)
        for node in range(_BLOCK - 1, -1, -1):
            step = steps[:, node]
            first = step @ first
            own = first[:, :, -_LINKS:] @ step.swapaxes(1, 2) + remainders[:, node]
            first[:, :, -_LINKS:] = own
            first[:, :, _LINKS + node] = own[:, :, HEIGHT]
            blocks[:, node] = first[:, HEIGHT]
        blocks[:, _BLOCK:] = first
        return blocks


class _Kept(NamedTuple):
    """What is kept of the unknowns at each node of a stretch.

    Parameters
    ----------
    states : (s,) which of the four.
    joint : (m,) which of the six that part a ride; they are the first m of the stretch.
    entries : what is kept of a node's columns in bands, laid end to end.
    """

    states: IntArray
    joint: IntArray
    entries: IntArray | slice


def _only(*states: int) -> _Kept:
    count, joint = len(states), [*states, STATES + HEIGHT]
    entries = [
        (BAND + 1) * state + STATES * (below // count) + states[below % count] - state
        for number, state in enumerate(states)
        for below in range(number, number + 2 * count + 1)
    ]
    return _Kept(np.array(states), np.array(joint), np.array(entries))


_ALL = _Kept(np.arange(STATES), np.arange(_JOINT), slice(None))
_NO_TILE = _only(HEIGHT, WANDER, WEATHER)


def _stretches(
    factor: FloatArray, start: IntArray, end: IntArray, half: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """How the unknowns at the start of some stretches follow from those behind their ends.

    Parameters
    ----------
    start, end : (j,) first node of each stretch, and the one behind its last.
    half : (4k,) the factor divided into a right side, or None.

    Returns
    -------
    (j, 7, 7) what they are times those behind the end, and (j, 7, 7) covariance of the remainder.
    """
    step, remainder = np.zeros((2, len(start), _LINKS, _LINKS))
    step[:, -1, -1] = 1.0
    told = np.zeros(factor.shape[1] // STATES + 1, dtype=np.intp)
    np.cumsum(factor[TILE_ERROR - HEIGHT, HEIGHT::STATES] != 0.0, out=told[1:])
    tileless, length = told[end] == told[start], end - start
    if length[tileless].sum() < _WORTH_LEAVING_OUT:
        tileless[:] = False
    order = np.lexsort((length, tileless))
    batch = np.cumsum(length[order]) // _TOGETHER + len(told) * tileless[order]
    for alike in _alike(batch):
        some = order[alike]
        kept = _NO_TILE if tileless[some[0]] else _ALL
        links = _together(factor, start[some], end[some], kept, half)
        rows, joint = some[:, np.newaxis, np.newaxis], kept.joint[:, np.newaxis]
        step[rows, joint, np.append(kept.joint, -1)] = links[0]
        remainder[rows, joint, kept.joint] = links[1]
    return step, remainder


def _together(
    factor: FloatArray, start: IntArray, end: IntArray, kept: _Kept, half: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """The same, of stretches by length that are few enough to be laid one after another.

    Returns
    -------
    (j, m, m + 1) and (j, m, m), for what is kept; without what is known of the 1.
    """
    states, joint = len(kept.states), len(kept.joint)
    spans = list(map(slice, start.tolist(), end.tolist()))
    by_node = factor.T.reshape(-1, STATES * (BAND + 1))
    bands = np.concatenate([by_node[span] for span in spans])[:, kept.entries]
    bands = bands.reshape(-1, 2 * states + 1)
    edges = np.append(0, np.cumsum(states * (end - start)))
    at = edges[:-1, np.newaxis] + np.arange(joint)
    within = at < edges[1:, np.newaxis]  # a stretch of one node has the last behind its end
    coupling = _cut(bands, edges, end == len(by_node))[:, :, :joint]
    unit = np.zeros((joint, len(bands)))
    unit[np.nonzero(within)[1], at[within]] = 1.0
    solved = forward(bands.T, unit.T).T
    step, remainder = np.zeros((len(start), joint, joint + 1)), np.empty((len(start), joint, joint))
    before = solved[:, edges[1:, np.newaxis] + np.arange(-2 * states, 0)].swapaxes(0, 1)
    step[:, :, :-1] = before @ coupling
    step[~within[:, -1], states:, : joint - states] = np.eye(joint - states)
    right = np.zeros(len(bands))
    if half is not None:
        by_node = half.reshape(-1, STATES)
        right = np.concatenate([by_node[span] for span in spans])[:, kept.states].ravel()
    for some in _alike(end - start):
        own, count = slice(edges[some.start], edges[some.stop]), some.stop - some.start
        alike = solved[:, own].reshape(joint, count, -1).swapaxes(0, 1)
        remainder[some] = alike @ alike.swapaxes(1, 2)
        if half is not None:
            step[some, :, -1] = (alike @ right[own].reshape(count, -1, 1))[:, :, 0]
    return step, remainder


def _alike(values: IntArray) -> list[slice]:
    """Where equal values lie among values in order."""
    changes = (np.flatnonzero(values[1:] != values[:-1]) + 1).tolist()
    return list(map(slice, [0, *changes], [*changes, len(values)])) if len(values) else []


def _cut(bands: FloatArray, edges: IntArray, is_last: BoolArray) -> FloatArray:
    """Part a factor into stretches; what the unknowns behind each add to the b before its end.

    Parameters
    ----------
    bands : (n, b + 1) columns of the factor, those of a stretch in a row; changed in place.
    edges : (j + 1,) first column of each stretch, and n.
    is_last : (j,) True where nothing is behind.

    Returns
    -------
    (j, b, b)
    """
    width = bands.shape[1]
    band = width - 1
    before = edges[1:, np.newaxis] + np.arange(-band, 0)
    # A stretch of one node has but half as many columns: the first takes the place of those before
    # it, and is written as itself last.
    column = np.maximum(before, edges[:-1, np.newaxis])
    near = bands[column]
    # Below the first diagonal of bands, one column on is one row down: so they are a matrix.
    beyond = near.reshape(-1, band * width)[:, band:].reshape(-1, band, band)
    is_beyond, is_within = _corners(band)
    coupling = -is_beyond * beyond
    coupling[(column > before) | is_last[:, np.newaxis]] = 0.0
    bands[column] = near * is_within
    return coupling


@cache
def _corners(band: int) -> tuple[FloatArray, FloatArray]:
    """What lies behind the end of a stretch in its last columns, as a matrix, and what within."""
    return np.tri(band), np.tri(band, band + 1)[::-1]
